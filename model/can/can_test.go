package can

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/mix"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.Local)

const day = 24 * time.Hour

func TestLastDay(t *testing.T) {
	rules := Rules{Now: noon, ClockSet: true, UseWithinOpened: map[string]time.Duration{"h": 30*day + 12*time.Hour}}
	for _, c := range []struct {
		can  Can
		want string
	}{
		{Can{Part: mix.Hardener, Material: "h"}, ""},
		{Can{Part: mix.Hardener, Material: "h", UseBy: "2027-01-31"}, "2027-01-31"},
		{Can{Part: mix.Hardener, Material: "h", OpenedOn: "2026-05-01"}, "2026-05-31"},
		{Can{Part: mix.Hardener, Material: "h", OpenedOn: "2026-05-01", UseBy: "2027-01-31"}, "2026-05-31"},
		{Can{Part: mix.Hardener, Material: "h", OpenedOn: "2026-05-01", UseBy: "2026-05-10"}, "2026-05-10"},
		{Can{Part: mix.Hardener, Material: "no limit", OpenedOn: "2026-05-01"}, ""},
		{Can{Part: mix.Ink, Material: "h", OpenedOn: "2026-05-01"}, ""},
		{Can{Part: mix.Hardener, Material: "h", OpenedOn: "not a date", UseBy: "2026-05-10"}, "2026-05-10"},
	} {
		if got := rules.lastDay(&c.can); got != c.want {
			t.Errorf("%+v: last day %q, want %q", c.can, got, c.want)
		}
	}
}

// A can may be used on its last day, and not on the day after it.
func TestTheLastDayItselfCounts(t *testing.T) {
	c := Can{ID: "h-1", Part: mix.Hardener, UseBy: Date(noon)}
	if v := (Rules{Now: noon, ClockSet: true}).Judge(&c); v.Expired || v.NeedsReason() || v.Expiry().Key != "" {
		t.Errorf("on its last day: %+v", v)
	}
	if v := (Rules{Now: noon.AddDate(0, 0, 1), ClockSet: true}).Judge(&c); !v.Expired || !v.NeedsReason() || v.Expiry().Key == "" {
		t.Errorf("the day after: %+v", v)
	}
	if v := (Rules{Now: noon}).Judge(&c); v.Expired || !v.ExpiryNotKnown || !v.NeedsReason() || v.Expiry().Key == "" {
		t.Errorf("without a clock: %+v", v)
	}
}

func TestStir(t *testing.T) {
	rules := Rules{Now: noon, ClockSet: true}
	for _, c := range []struct {
		can  Can
		want string
	}{
		{Can{Part: mix.Ink}, "can-never-stirred"},
		{Can{Part: mix.Ink, UsedAt: noon}, "can-never-stirred"}, // pouring does not stir up
		{Can{Part: mix.Ink, StirredAt: noon.Add(-stirAfter)}, ""},
		{Can{Part: mix.Ink, StirredAt: noon.Add(-4 * day)}, "can-has-stood"},
		{Can{Part: mix.Ink, StirredAt: noon.Add(-9 * day), UsedAt: noon.Add(-day)}, ""},
		{Can{Part: mix.Ink, StirredAt: noon.Add(-day), Doubt: true}, "can-stood-unknown"},
		{Can{Part: mix.Hardener}, ""},
		{Can{Part: mix.Thinner, Doubt: true}, ""},
	} {
		if got := rules.Judge(&c.can).Stir(); got.Key != c.want {
			t.Errorf("%+v: %q, want %q", c.can, got, c.want)
		}
	}
}

// anyCan draws a can whose times are all before noon.
func anyCan(rt *rapid.T, id string) *Can {
	ago := func(name string) time.Time {
		if rapid.Bool().Draw(rt, name+" never") {
			return time.Time{}
		}
		return noon.Add(-time.Duration(rapid.IntRange(0, 240).Draw(rt, name)) * time.Hour)
	}
	date := func(name string) string {
		if rapid.Bool().Draw(rt, "no "+name) {
			return ""
		}
		return Date(noon.AddDate(0, 0, rapid.IntRange(-60, 60).Draw(rt, name)))
	}
	return &Can{
		ID: id, Part: rapid.SampledFrom([]mix.Part{mix.Ink, mix.Hardener, mix.Thinner}).Draw(rt, "part"),
		Material: rapid.SampledFrom([]string{"a", "b"}).Draw(rt, "material"), OpenedOn: date("opened"), UseBy: date("use by"),
		StirredAt: ago("stirred"), UsedAt: ago("used"), Doubt: rapid.Bool().Draw(rt, "doubt"),
	}
}

func anyRules(rt *rapid.T) Rules {
	return Rules{
		Now: noon.Add(time.Duration(rapid.IntRange(0, 2000).Draw(rt, "later")) * time.Hour), ClockSet: rapid.Bool().Draw(rt, "clock set"),
		UseWithinOpened: map[string]time.Duration{"a": time.Duration(rapid.IntRange(1, 90).Draw(rt, "within")) * day},
	}
}

// Time only makes a can worse: the last day stays, and what was refused stays refused.
func TestTimeNeverMakesACanBetter(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c, now := anyCan(rt, "can-1"), anyRules(rt)
		later := now
		later.Now = now.Now.Add(time.Duration(rapid.IntRange(0, 2000).Draw(rt, "wait")) * time.Hour)
		is, then := now.Judge(c), later.Judge(c)
		if is.LastDay != then.LastDay {
			rt.Fatalf("the last day moved from %q to %q", is.LastDay, then.LastDay)
		}
		if is.NeedsReason() && !then.NeedsReason() || is.Stir().Key != "" && then.Stir().Key == "" {
			rt.Fatalf("%+v became %+v", is, then)
		}
		if last := is.LastDay; c.UseBy != "" && (last == "" || last > c.UseBy) {
			rt.Fatalf("last day %q is after the use-by date %q", last, c.UseBy)
		}
		if is.Expired && is.ExpiryNotKnown || is.Expired && !now.ClockSet {
			rt.Fatalf("%+v by a clock that is set: %v", is, now.ClockSet)
		}
	})
}

// The choice does not depend on the order in which the cans were listed, no can is lost,
// and a can that would be refused is only meant where every can would be.
func TestChooseIsOneOfTheCans(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rules := anyRules(rt)
		var cans []*Can
		for i := range rapid.IntRange(0, 5).Draw(rt, "cans") {
			cans = append(cans, anyCan(rt, string(rune('a'+i))))
		}
		listed := rapid.Permutation(cans).Draw(rt, "listed")
		sorted, other := slices.Clone(listed), slices.Clone(cans)
		inUse := rules.Choose(sorted)
		if again := rules.Choose(other); again != inUse || !slices.Equal(sorted, other) {
			rt.Fatalf("the order of the list changed the choice")
		}
		for _, c := range cans {
			if !slices.Contains(sorted, c) {
				rt.Fatalf("can %s is lost", c.ID)
			}
		}
		if len(cans) == 1 && inUse != cans[0] || inUse != nil && inUse != sorted[0] {
			rt.Fatalf("in use is %v of %v", inUse, sorted)
		}
		if inUse != nil && rules.Judge(inUse).NeedsReason() && slices.ContainsFunc(cans, func(c *Can) bool { return !rules.Judge(c).NeedsReason() }) {
			rt.Fatalf("%+v is meant although it would be refused", inUse)
		}
		if inUse == nil && slices.ContainsFunc(cans, func(c *Can) bool { return !c.handledAt().IsZero() && !rules.Judge(c).NeedsReason() }) {
			rt.Fatalf("a can that somebody has handled is not meant")
		}
	})
}

// handledAt never lies before either of the two times it is made of.
func TestHandledAt(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := anyCan(rt, "can-1")
		if at := c.handledAt(); at.Before(c.StirredAt) || at.Before(c.UsedAt) || !at.Equal(c.StirredAt) && !at.Equal(c.UsedAt) {
			rt.Fatalf("handled at %v, stirred at %v, used at %v", at, c.StirredAt, c.UsedAt)
		}
	})
}
