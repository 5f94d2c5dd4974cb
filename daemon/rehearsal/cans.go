package rehearsal

import (
	"context"
	"slices"
	"time"
)

// initialCan is a can that is there when the demo begins, as the API takes it.
type initialCan struct {
	ID       string `json:"id"`
	Ink      string `json:"ink,omitempty"`
	Hardener string `json:"hardener,omitempty"`
	Thinner  string `json:"thinner,omitempty"`
	Lot      string `json:"lot"`
	Colour   string `json:"colour,omitempty"`
	OpenedOn string `json:"opened_on,omitempty"`
	UseBy    string `json:"use_by,omitempty"`
}

// initialCans returns the cans that are there on the first day: most are in use, one ink is
// not open yet, and the last day of one hardener was yesterday.
func initialCans(today time.Time) []initialCan {
	day := func(n int) string { return today.Local().AddDate(0, 0, n).Format(time.DateOnly) }
	return []initialCan{
		{ID: "hardener-a-1", Hardener: "hardener-a", Lot: "HA-0915", OpenedOn: day(-80), UseBy: day(-1)},
		{ID: "hardener-a-2", Hardener: "hardener-a", Lot: "HA-1120", OpenedOn: day(-2), UseBy: day(200)},
		{ID: "hardener-b-1", Hardener: "hardener-b", Lot: "HB-1102", OpenedOn: day(-9), UseBy: day(150)},
		{ID: "dial-satin-1", Ink: "dial-satin", Colour: "black", Lot: "DS-2207", OpenedOn: day(-20), UseBy: day(400)},
		{ID: "gauge-quick-1", Ink: "gauge-quick", Colour: "deep blue", Lot: "GQ-0431", OpenedOn: day(-5), UseBy: day(300)},
		{ID: "dial-bend-1", Ink: "dial-bend", Colour: "red", Lot: "DB-1188", UseBy: day(330)},
		{ID: "dial-flat-1", Ink: "dial-flat", Colour: "red", Lot: "DF-0776", OpenedOn: day(-31), UseBy: day(290)},
		{ID: "thinner-s-1", Thinner: "thinner-s", Lot: "T-3005", OpenedOn: day(-12)},
	}
}

// stockUp registers these cans at the bench.
func (m *mixer) stockUp(ctx context.Context) error {
	for _, d := range initialCans(m.clock.Now().Wall) {
		if _, err := m.api.change(ctx, d, "cans"); err != nil {
			return err
		}
	}
	return nil
}

// canFor returns the first can that may be poured from, after stirring it where the guide
// requires that; empty where the shop registers no cans.
func (m *mixer) canFor(ctx context.Context, b batch, stir time.Duration) (string, error) {
	i := slices.IndexFunc(b.PourFrom, func(c canChoice) bool { return c.Expired == "" })
	if i < 0 {
		return "", nil
	}
	c := b.PourFrom[i]
	if c.Stir == "" {
		return c.Can, nil
	}
	m.story.tell("batch %s: can %s, lot %s, is stirred to the bottom first: %s", b.ID, c.Can, c.Lot, c.Stir)
	if err := m.lapse(ctx, stir); err != nil {
		return "", err
	}
	_, err := m.api.change(ctx, nil, "cans", c.Can, "stirred")
	return c.Can, err
}
