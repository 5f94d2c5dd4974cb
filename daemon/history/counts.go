package history

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/daemon/precision"
)

// Conditions are what was printed with and in: means over the pieces for which they are known.
type Conditions struct {
	Spent         *float64 `json:"spent,omitempty" doc:"share of the batch's pot life that was used up, mean over the pieces; 1 is the nominal end"`
	AgeS          *float64 `json:"age_s,omitempty" doc:"age of the batch in s, mean over the pieces"`
	TemperatureC  *float64 `json:"temperature_c,omitempty" doc:"air temperature at the press in °C, mean over the pieces"`
	HumidityPct   *float64 `json:"humidity_pct,omitempty" doc:"relative humidity at the press over liquid water in %, mean over the pieces"`
	VapourDensity *float64 `json:"vapour_density_g_m3,omitempty" doc:"water vapour at these means in g per m³ of air"`
	ThinnerPct    *float64 `json:"thinner_pct,omitempty" doc:"thinner poured into the batch in % of ink and hardener, mean over the pieces"`
	RatioOffPct   *float64 `json:"ratio_off_pct,omitempty" doc:"deviation of the batch's hardener from its target in %, mean over the pieces; above 0 is too much"`
}

// Prints are the prints of a press with a batch in an interval.
type Prints struct {
	Time   time.Time `json:"time" doc:"begin of the interval"`
	To     time.Time `json:"to" doc:"end of the interval, which is not included"`
	Local  string    `json:"local" doc:"begin in the shop's time zone"`
	Press  string    `json:"press" doc:"id of the press"`
	Batch  string    `json:"batch,omitempty" doc:"id of the batch; absent when none was loaded, or when it is not known"`
	Ink    string    `json:"ink,omitempty" doc:"id of the batch's ink"`
	Source Source    `json:"source" enum:"bench,paper" doc:"bench: recorded by the bench; paper: imported"`
	Prints int64     `json:"prints" doc:"number of prints"`
	Conditions
}

// Defects are the rejects of a press by one kind of defect in an interval.
type Defects struct {
	Time    time.Time `json:"time" doc:"begin of the interval"`
	To      time.Time `json:"to" doc:"end of the interval, which is not included"`
	Local   string    `json:"local" doc:"begin in the shop's time zone"`
	Press   string    `json:"press" doc:"id of the press"`
	Batch   string    `json:"batch,omitempty" doc:"id of the batch; absent when none was loaded, or when it is not known"`
	Ink     string    `json:"ink,omitempty" doc:"id of the batch's ink"`
	Source  Source    `json:"source" enum:"bench,paper" doc:"bench: recorded by the bench; paper: imported"`
	Kind    string    `json:"kind" doc:"id of the kind of defect"`
	Defects int64     `json:"defects" doc:"number of rejects; below 0 where an earlier interval was corrected"`
	Conditions
}

// Search limits an answer. Empty fields limit nothing.
type Search struct {
	From, To time.Time // To is not included
	Press    string
	Batch    string
	Kind     string // of a defect
}

// PrintsIn returns the prints by interval, press and batch, oldest first. It returns ErrTooMany
// when there are more than limit rows.
func (h *History) PrintsIn(ctx context.Context, find Search, step Step, limit int) ([]Prints, error) {
	sums, err := h.counted(ctx, find, step, false, limit)
	if err != nil {
		return nil, err
	}
	rows := make([]Prints, 0, len(sums))
	for _, s := range sums {
		rows = append(rows, Prints{
			Time: s.from, To: s.to, Local: s.from.In(step.zone).Format(time.RFC3339), Press: s.press, Batch: s.batch, Ink: s.ink, Source: s.source,
			Prints: s.pieces, Conditions: s.conditions(),
		})
	}
	return rows, nil
}

// DefectsIn returns the rejects by interval, press, batch and kind, oldest first. It returns
// ErrTooMany when there are more than limit rows.
func (h *History) DefectsIn(ctx context.Context, find Search, step Step, limit int) ([]Defects, error) {
	sums, err := h.counted(ctx, find, step, true, limit)
	if err != nil {
		return nil, err
	}
	rows := make([]Defects, 0, len(sums))
	for _, s := range sums {
		rows = append(rows, Defects{
			Time: s.from, To: s.to, Local: s.from.In(step.zone).Format(time.RFC3339), Press: s.press, Batch: s.batch, Ink: s.ink, Source: s.source,
			Kind: s.kind, Defects: s.pieces, Conditions: s.conditions(),
		})
	}
	return rows, nil
}

// sum is a tally over an interval.
type sum struct {
	tallyKey
	tally
	from, to time.Time
}

// counted returns the tallies of prints, or of defects, folded to a step.
func (h *History) counted(ctx context.Context, find Search, step Step, defects bool, limit int) ([]sum, error) {
	fold := newFolder(step, find.From)
	first, last := quarterOf(fold.from), quarterOf(find.To.Add(Quarter-time.Nanosecond))
	var out []sum
	open := map[tallyKey]tally{}
	end := func() error {
		keys := slices.SortedFunc(maps.Keys(open), compareKeys)
		for _, k := range keys {
			if t := open[k]; t.pieces != 0 {
				if len(out) == limit {
					return tooMany(limit)
				}
				out = append(out, sum{k, t, fold.from, fold.to})
			}
		}
		clear(open)
		return nil
	}
	which := printsOnly
	if defects {
		which = defectsOnly
	}
	err := h.tallies(ctx, find, which, first, last, func(k tallyKey, t tally) error {
		if at := time.UnixMilli(k.quarter * quarters.each).UTC(); !at.Before(fold.to) {
			if err := end(); err != nil {
				return err
			}
			fold.reach(at)
		}
		k.quarter = 0
		all := open[k]
		all.add(t)
		open[k] = all
		return nil
	})
	if err == nil {
		err = end()
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

func compareKeys(a, b tallyKey) int {
	return cmp.Or(cmp.Compare(a.quarter, b.quarter), cmp.Compare(a.press, b.press), cmp.Compare(a.kind, b.kind), cmp.Compare(a.batch, b.batch), cmp.Compare(a.source, b.source))
}

// which tallies are read.
type which int

const (
	everything which = iota
	printsOnly
	defectsOnly
)

// takes reports whether the tallies of a kind of defect, empty for prints, are read.
func (w which) takes(kind string) bool {
	return w == everything || (kind == "") == (w == printsOnly)
}

// tallies calls f for the tallies of the quarter-hours in [first, last), in their order.
func (h *History) tallies(ctx context.Context, find Search, which which, first, last int64, f func(tallyKey, tally) error) error {
	h.mu.RLock()
	defer h.mu.RUnlock()
	fits := func(k tallyKey) bool {
		return which.takes(k.kind) && k.quarter >= first && k.quarter < last && (find.Press == "" || find.Press == k.press) &&
			(find.Batch == "" || find.Batch == k.batch) && (find.Kind == "" || find.Kind == k.kind)
	}
	var waits []tallyKey
	for k := range h.waiting.tallies {
		if fits(k) {
			waits = append(waits, k)
		}
	}
	slices.SortFunc(waits, compareKeys)
	if h.store != nil {
		err := eachDay(ctx, h.store.read, dayOf(first), dayOf(last-1), func(counts []count) error {
			for _, c := range counts {
				if !fits(c.tallyKey) {
					continue
				}
				for len(waits) > 0 && compareKeys(waits[0], c.tallyKey) < 0 {
					if err := f(waits[0], h.waiting.tallies[waits[0]]); err != nil {
						return err
					}
					waits = waits[1:]
				}
				if err := f(c.tallyKey, c.tally); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	for _, k := range waits {
		if err := f(k, h.waiting.tallies[k]); err != nil {
			return err
		}
	}
	return nil
}

// Count are prints of a press with a batch in a quarter-hour, with the means of their conditions, which are NaN where
// they are not known; or rejects of one kind among them, whose conditions are all NaN.
type Count struct {
	Time                    time.Time // begin of the quarter-hour
	Press, Batch, Ink       string
	Kind                    string // of the rejects; empty for prints
	Source                  Source
	Pieces                  int64 // below 0 where an earlier quarter-hour was corrected
	Spent, AgeS             float64
	TemperatureC            float64
	HumidityPct             float64
	VapourDensity           float64 // g/m³
	ThinnerPct, RatioOffPct float64
}

// EachCount calls each for the prints and rejects of the quarter-hours that begin in [find.From, find.To),
// oldest first. It stops at the first error of each and returns it. What is recorded meanwhile waits for it.
func (h *History) EachCount(ctx context.Context, find Search, each func(Count) error) error {
	first, end := quarterOf(find.From.Add(Quarter-time.Nanosecond)), quarterOf(find.To.Add(Quarter-time.Nanosecond))
	return h.tallies(ctx, find, everything, first, end, func(k tallyKey, t tally) error {
		c := unknown
		if k.kind == "" {
			c = t.means()
		}
		c.Time, c.Press, c.Batch, c.Ink, c.Kind, c.Source, c.Pieces = time.UnixMilli(k.quarter*quarters.each).UTC(), k.press, k.batch, t.ink, k.kind, k.source, t.pieces
		return each(c)
	})
}

// unknown is a count none of whose conditions is known.
var unknown = tally{}.means()

// means returns the means of the conditions, rounded as they are shown.
func (t tally) means() (c Count) {
	mean := func(sum float64, n int64, round func(float64) float64) float64 {
		if n == 0 {
			return math.NaN()
		}
		return round(sum / float64(n))
	}
	c.Spent, c.AgeS = mean(t.spent, t.lived, precision.Share), mean(t.ageS, t.lived, precision.Seconds)
	c.TemperatureC, c.HumidityPct = mean(t.celsius, t.aired, precision.Celsius), mean(t.percent, t.aired, precision.Percent)
	c.ThinnerPct, c.RatioOffPct = mean(t.thinner, t.mixed, precision.Percent), mean(t.ratio, t.mixed, precision.Percent)
	c.VapourDensity = math.NaN()
	if t.aired != 0 {
		c.VapourDensity = precision.GramsPerM3(stateOf(t.celsius/float64(t.aired), t.percent/float64(t.aired)).Clamp().VapourDensityGM3())
	}
	return c
}

// conditions returns the means.
func (t tally) conditions() Conditions {
	c := t.means()
	known := func(x float64) *float64 {
		if math.IsNaN(x) {
			return nil
		}
		return &x
	}
	return Conditions{
		Spent: known(c.Spent), AgeS: known(c.AgeS), TemperatureC: known(c.TemperatureC), HumidityPct: known(c.HumidityPct),
		VapourDensity: known(c.VapourDensity), ThinnerPct: known(c.ThinnerPct), RatioOffPct: known(c.RatioOffPct),
	}
}
