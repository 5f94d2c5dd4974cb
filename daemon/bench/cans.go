package bench

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/mix"
)

var canID = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func (b *Bench) makeCan(now time.Time, by actor.Name, c request.MakeCan) (any, error) {
	k := b.stock(b.state, now)
	e := record.CanMade{Can: c.ID, Lot: strings.TrimSpace(c.Lot), Colour: strings.TrimSpace(c.Colour), OpenedOn: c.OpenedOn, UseBy: c.UseBy}
	for part, id := range map[mix.Part]string{mix.Ink: c.Ink, mix.Hardener: c.Hardener, mix.Thinner: c.Thinner} {
		if id == "" {
			continue
		}
		if e.Part != "" {
			return nil, request.Refuse(request.Invalid, "what it holds", "a can holds one thing: say either ink, hardener or thinner")
		}
		e.Part, e.Material = part, id
	}
	switch {
	case e.Part == "":
		return nil, request.Refuse(request.Invalid, "what it holds", "say what the can holds: ink, hardener or thinner")
	case !slices.Contains(k.allMaterials(e.Part), e.Material):
		return nil, request.Refuse(request.Invalid, "no such "+string(e.Part), "there is no %s %q in the configuration; it has %s", e.Part, e.Material, known(k.allMaterials(e.Part)))
	}
	if err := checkDates(map[string]string{"opened_on": c.OpenedOn, "use_by": c.UseBy}); err != nil {
		return nil, err
	}
	if err := k.notAhead(c.OpenedOn); err != nil {
		return nil, err
	}
	if e.Can == "" {
		e.Can = b.state.NextCanID(e.Part)
	}
	if !canID.MatchString(e.Can) {
		return nil, request.Refuse(request.Invalid, "id", "id %q: want up to 32 of a-z, 0-9 and -, the first no dash", e.Can).Saying("can-id")
	}
	if old, taken := b.state.Cans[e.Can]; taken {
		return nil, request.Refuse(request.NotNow, "can known", "there is a can %s already, of %s; give this one another id, or none", old.ID, old.Material).Saying("can-known", "can", old.ID, "material", old.Material)
	}
	b.decide(now, by, e)
	return b.stock(b.state, now).viewOf(e.Can), nil
}

// checkDates looks whether texts are dates; empty ones are none and pass.
func checkDates(dates map[string]string) error {
	for _, name := range slices.Sorted(maps.Keys(dates)) {
		if dates[name] == "" {
			continue
		}
		if _, err := time.Parse(time.DateOnly, dates[name]); err != nil {
			return request.Refuse(request.Invalid, "date", "%s %q: want a date such as 2026-06-12", name, dates[name]).Saying("date-form")
		}
	}
	return nil
}

func (b *Bench) openCan(now time.Time, by actor.Name, c request.OpenCan) (any, error) {
	k := b.stock(b.state, now)
	of, err := k.named(c.Can)
	if err != nil {
		return nil, err
	}
	on := c.On
	if on == "" {
		if !b.clock.synced {
			return nil, refuseAs("clock-not-set", "clock not set", `the clock is not set, so today's date is not known; say "on", the date`).Saying("date-unknown")
		}
		on = b.shop.day(now)
	}
	if err := checkDates(map[string]string{"on": on}); err != nil {
		return nil, err
	}
	if err := k.notAhead(on); err != nil {
		return nil, err
	}
	b.decide(now, by, record.CanOpened{Can: of.ID, On: on})
	return b.stock(b.state, now).viewOf(c.Can), nil
}

func (b *Bench) stirCan(now time.Time, by actor.Name, c request.StirCan) (any, error) {
	of, err := b.stock(b.state, now).named(c.Can)
	if err != nil {
		return nil, err
	}
	if of.Empty() {
		return nil, request.Refuse(request.NotNow, "can empty", "can %s was emptied", of.ID).Saying("can-empty", "can", of.ID)
	}
	b.decide(now, by, record.CanStirred{Can: of.ID})
	return b.stock(b.state, now).viewOf(c.Can), nil
}

func (b *Bench) emptyCan(now time.Time, by actor.Name, c request.EmptyCan) (any, error) {
	of, err := b.stock(b.state, now).named(c.Can)
	if err != nil {
		return nil, err
	}
	if of.Empty() != c.Undo {
		return b.stock(b.state, now).viewOf(c.Can), nil // it is so already
	}
	b.decide(now, by, record.CanEmptied{Can: of.ID, Undo: c.Undo})
	return b.stock(b.state, now).viewOf(c.Can), nil
}
