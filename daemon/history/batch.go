package history

import (
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/trace"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
)

// Batch is a batch that ended. In CSV each field is a column, lists with blanks between.
type Batch struct {
	ID                string              `json:"id" doc:"id of the batch"`
	Seq               uint64              `json:"seq" doc:"number of the event that ended the batch; on paper a number that orders the rows"`
	Source            Source              `json:"source" enum:"bench,paper" doc:"bench: recorded by the bench; paper: imported"`
	Ink               string              `json:"ink" doc:"id of the ink"`
	Zone              string              `json:"zone,omitempty" doc:"id of the zone that it was in at its end"`
	Press             string              `json:"press,omitempty" doc:"id of the press that it was on last"`
	Cup               string              `json:"cup,omitempty" doc:"id of the kind of cup"`
	Colour            string              `json:"colour_class,omitempty" doc:"colour class"`
	Artwork           string              `json:"artwork,omitempty" doc:"kind of artwork"`
	MixedAt           *time.Time          `json:"mixed_at,omitempty" doc:"when hardener first touched ink"`
	ClosedAt          time.Time           `json:"closed_at" doc:"when the batch ended"`
	Outcome           lifecycle.Outcome   `json:"outcome" enum:"used-up,discarded,went-off,not-known,abandoned" doc:"how the batch ended: used-up, discarded, went-off, not-known, or abandoned (a mix that was given up)"`
	StillGood         lifecycle.StillGood `json:"still_good,omitempty" doc:"whether it was still good at the end: yes, no or unknown"`
	LastGoodAt        *time.Time          `json:"last_good_at,omitempty" doc:"when somebody last looked at the batch and found it good"`
	PouredInto        string              `json:"poured_into,omitempty" doc:"id of the batch that it was poured into at its end"`
	AgeS              *float64            `json:"age_s,omitempty" doc:"age at the end, since mixed_at, in s"`
	AtLeast           bool                `json:"at_least,omitempty" doc:"age and spent are lower bounds, since the clock was not set at some time"`
	Spent             *float64            `json:"spent,omitempty" doc:"share of the pot life that was used up at the end; 1 is the nominal end"`
	Risk              *float64            `json:"risk,omitempty" doc:"probability, by its forecast, that it was past its pot life at the end, 0 to 1"`
	MeanTemperatureC  *float64            `json:"mean_temperature_c,omitempty" doc:"mean temperature of the air that it stood in, in °C"`
	MeanHumidityPct   *float64            `json:"mean_humidity_pct,omitempty" doc:"mean relative humidity of that air over liquid water, in %"`
	MeanVapourDensity *float64            `json:"mean_vapour_density_g_m3,omitempty" doc:"water vapour in g per m³ of air at these means"`
	InkG              *float64            `json:"ink_g,omitempty" doc:"mass of ink in the cup at the end, what was printed included, in g"`
	HardenerG         *float64            `json:"hardener_g,omitempty" doc:"mass of hardener, in g"`
	ThinnerG          *float64            `json:"thinner_g,omitempty" doc:"mass of thinner, in g"`
	RatioOffPct       *float64            `json:"ratio_off_pct,omitempty" doc:"deviation of the hardener from its target in %; above 0 is too much"`
	ThinnerPct        *float64            `json:"thinner_pct,omitempty" doc:"thinner as a share of ink and hardener together, in %"`
	LeftG             *float64            `json:"left_g,omitempty" doc:"mass left in the cup at the end, in g"`
	Lots              string              `json:"lots,omitempty" doc:"lot numbers that are in the batch"`
	Prints            int64               `json:"prints" doc:"prints made with the batch"`
	Defects           int64               `json:"defects" doc:"rejects among them, of all kinds"`
}

// rowOf returns the row of a batch that ended.
func rowOf(t trace.Whole, seq uint64) Batch {
	e := t.Ended
	b := Batch{
		ID: e.ID, Seq: seq, Source: Measured, Ink: e.Ink, Zone: t.Zone, Cup: e.Cup, Colour: e.Colour, Artwork: e.Artwork,
		MixedAt: e.MixedAt, ClosedAt: e.ClosedAt, Outcome: e.Outcome, StillGood: e.StillGood, PouredInto: e.PouredInto,
		AgeS: e.AgeS, AtLeast: e.AtLeast, Spent: e.Spent, Risk: e.Risk, MeanTemperatureC: e.MeanTemperatureC, MeanHumidityPct: e.MeanHumidityPct,
		LeftG: e.LeftG, RatioOffPct: precision.Known(t.RatioOffPct, precision.Percent),
	}
	if t.GoodAt != nil && e.MixedAt != nil && t.GoodAt.After(*e.MixedAt) {
		b.LastGoodAt = t.GoodAt
	}
	for _, s := range e.Presses {
		b.Press = s.Press
	}
	for _, l := range t.Lots {
		if l.Lot != "" {
			b.Lots = joined(b.Lots, l.Lot)
		}
	}
	if e.MixedAt != nil {
		g := func(v float64) *float64 { v = precision.Grams(v, t.DivisionG); return &v }
		b.InkG, b.HardenerG, b.ThinnerG = g(t.Amounts.InkG), g(t.Amounts.HardenerG), g(t.Amounts.ThinnerG)
		if mixed := t.Amounts.InkG + t.Amounts.HardenerG; mixed > 0 {
			pct := precision.Percent(100 * t.Amounts.ThinnerG / mixed)
			b.ThinnerPct = &pct
		}
	}
	b.vapour()
	return b
}

// vapour computes the vapour density at the means.
func (b *Batch) vapour() {
	if b.MeanTemperatureC == nil || b.MeanHumidityPct == nil {
		return
	}
	v := precision.GramsPerM3(air.State{TemperatureC: *b.MeanTemperatureC, HumidityPct: *b.MeanHumidityPct}.VapourDensityGM3())
	b.MeanVapourDensity = &v
}

func joined(list, one string) string {
	if list == "" {
		return one
	}
	return list + " " + one
}
