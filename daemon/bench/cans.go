package bench

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/mix"
)

var canID = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func (b *Bench) makeCan(now time.Time, by string, c request.MakeCan) (any, error) {
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
	case !slices.Contains(b.allMaterials(e.Part), e.Material):
		return nil, request.Refuse(request.Invalid, "no such "+string(e.Part), "there is no %s %q in the configuration; it has %s", e.Part, e.Material, known(b.allMaterials(e.Part)))
	}
	if err := checkDates(map[string]string{"opened_on": c.OpenedOn, "use_by": c.UseBy}); err != nil {
		return nil, err
	}
	if err := b.notAhead(c.OpenedOn, now); err != nil {
		return nil, err
	}
	if e.Can == "" {
		e.Can = b.state.NextCanID(e.Part)
	}
	if !canID.MatchString(e.Can) {
		return nil, request.Refuse(request.Invalid, "id", "id %q: want up to 32 of a-z, 0-9 and -, the first no dash", e.Can)
	}
	if old, taken := b.state.Cans[e.Can]; taken {
		return nil, request.Refuse(request.NotNow, "can known", "there is a can %s already, of %s; give this one another id, or none", old.ID, old.Material)
	}
	b.decide(now, by, e)
	return b.canView(b.state.Cans[e.Can], now), nil
}

// checkDates looks whether texts are dates; empty ones are none and pass.
func checkDates(dates map[string]string) error {
	for _, name := range slices.Sorted(maps.Keys(dates)) {
		if dates[name] == "" {
			continue
		}
		if _, err := time.Parse(time.DateOnly, dates[name]); err != nil {
			return request.Refuse(request.Invalid, "date", "%s %q: want a date such as 2026-06-12", name, dates[name])
		}
	}
	return nil
}

// notAhead refuses an opening in the future, which only a clock that is set can tell.
func (b *Bench) notAhead(opened string, now time.Time) error {
	if b.synced && opened > record.DateOf(now) {
		return request.Refuse(request.Invalid, "opened in the future", "opened on %s is after today, %s", opened, record.DateOf(now))
	}
	return nil
}

// allMaterials are the ids of what the configuration knows of a part.
func (b *Bench) allMaterials(part mix.Part) []string {
	var ids []string
	switch part {
	case mix.Ink:
		for _, k := range b.shop.Inks {
			ids = append(ids, k.ID)
		}
	case mix.Hardener:
		for _, h := range b.shop.Hardeners {
			ids = append(ids, h.ID)
		}
	case mix.Thinner:
		for _, t := range b.shop.Thinners {
			ids = append(ids, t.ID)
		}
	}
	return ids
}

func known(ids []string) string {
	if len(ids) == 0 {
		return "none"
	}
	return strings.Join(ids, ", ")
}

func (b *Bench) canNamed(id string) (*record.Can, error) {
	if c, ok := b.state.Cans[id]; ok {
		return c, nil
	}
	return nil, request.Refuse(request.NotFound, "no such can", "there is no can %q; there are %s", id, known(slices.Sorted(maps.Keys(b.state.Cans))))
}

func (b *Bench) openCan(now time.Time, by string, c request.OpenCan) (any, error) {
	can, err := b.canNamed(c.Can)
	if err != nil {
		return nil, err
	}
	on := c.On
	if on == "" {
		if !b.synced {
			return nil, refuseAs("clock-not-set", "clock not set", `the clock is not set, so today's date is not known; say "on", the date`)
		}
		on = record.DateOf(now)
	}
	if err := checkDates(map[string]string{"on": on}); err != nil {
		return nil, err
	}
	if err := b.notAhead(on, now); err != nil {
		return nil, err
	}
	b.decide(now, by, record.CanOpened{Can: can.ID, On: on})
	return b.canView(b.state.Cans[can.ID], now), nil
}

func (b *Bench) stirCan(now time.Time, by string, c request.StirCan) (any, error) {
	can, err := b.canNamed(c.Can)
	if err != nil {
		return nil, err
	}
	if !can.EmptiedAt.IsZero() {
		return nil, request.Refuse(request.NotNow, "can empty", "can %s was emptied", can.ID)
	}
	b.decide(now, by, record.CanStirred{Can: can.ID})
	return b.canView(b.state.Cans[can.ID], now), nil
}

func (b *Bench) emptyCan(now time.Time, by string, c request.EmptyCan) (any, error) {
	can, err := b.canNamed(c.Can)
	if err != nil {
		return nil, err
	}
	if can.EmptiedAt.IsZero() == c.Undo {
		return b.canView(can, now), nil // it is so already
	}
	b.decide(now, by, record.CanEmptied{Can: can.ID, Undo: c.Undo})
	return b.canView(b.state.Cans[can.ID], now), nil
}
