package bench

import (
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// conditions are what a press printed with and in at a time.
type conditions struct {
	time  time.Time
	batch string // empty when none was loaded
	late  bool   // of an earlier time than the report's
	record.Conditions
}

// conditionsNow returns the conditions at a press.
func (b *Bench) conditionsNow(press, zone string, now time.Time) conditions {
	c := conditions{time: now, batch: b.state.Presses[press].Batch}
	c.Zone = zone
	c.addAir(b, zone, now)
	if batch := b.state.Batches[c.batch]; batch != nil {
		c.addBatch(b, batch, now)
	}
	return c
}

func (c *conditions) addAir(b *Bench, zone string, now time.Time) {
	z := b.zones[zone]
	if z == nil {
		return
	}
	quality, _ := b.quality(z, now)
	c.AirQuality = string(quality)
	value, measured := z.path.Value(closedPath(b.state, z))
	if !measured || quality == view.QualityBad {
		return
	}
	c.TemperatureC = new(precision.Celsius(value.TemperatureC))
	c.HumidityPct = new(precision.Percent(value.HumidityPct))
	c.VapourDensity = new(precision.GramsPerM3(value.VapourDensityGM3()))
}

func (c *conditions) addBatch(b *Bench, batch *record.Batch, now time.Time) {
	c.Ink = batch.Ink
	if batch.Mix.Poured().InkG > 0 {
		c.ThinnerPct = new(precision.Percent(batch.Mix.Poured().ThinnerPct()))
	}
	if ratio := view.RatioOf(batch.Mix); ratio != nil {
		c.RatioOffPct = new(precision.Percent(ratio.OffPct))
	}
	if batch.Ensemble == nil {
		return
	}
	var v view.Batch
	b.addLife(b.state, batch, now, &v)
	age := time.Duration(*v.AgeS * float64(time.Second)).Round(time.Second)
	c.Age, c.Spent, c.LifeQuality = &age, new(precision.Share(*v.Spent)), string(v.Quality)
}

// noteConditions notes the conditions at each press, for reports that come late. They are kept
// for as long as a report may be late, in memory only: after a restart they are not known.
func (b *Bench) noteConditions(now time.Time) {
	for _, p := range b.shop.Presses {
		kept := b.conditions[p.ID]
		for len(kept) > 0 && now.Sub(kept[0].time) > request.MaxLate+2*time.Minute {
			kept = kept[1:]
		}
		b.conditions[p.ID] = append(kept, b.conditionsNow(p.ID, p.Zone, now))
	}
}

// noteMinute notes the conditions once a minute.
func (b *Bench) noteMinute(now time.Time) {
	for _, p := range b.shop.Presses {
		kept := b.conditions[p.ID]
		if n := len(kept); n == 0 || now.Truncate(time.Minute).After(kept[n-1].time) {
			b.noteConditions(now)
			return
		}
	}
}

// shiftConditions moves the noted times when the clock is moved.
func (b *Bench) shiftConditions(d time.Duration) {
	for _, kept := range b.conditions {
		for i := range kept {
			kept[i].time = kept[i].time.Add(d)
		}
	}
	for press, off := range b.takenOff {
		off.at = off.at.Add(d)
		b.takenOff[press] = off
	}
}

// conditionsAt returns the conditions at a press at the time of a report. For a late report
// about a time that nothing was noted of, only the time and the zone are known.
func (b *Bench) conditionsAt(r report, press config.Press, now time.Time) conditions {
	if !r.late(now) {
		return b.conditionsNow(press.ID, press.Zone, now)
	}
	at := conditions{time: *r.at, late: true, Conditions: record.Conditions{Zone: press.Zone}}
	for _, c := range b.conditions[press.ID] {
		if !c.time.After(*r.at) && r.at.Sub(c.time) <= 2*time.Minute {
			at.batch, at.Conditions = c.batch, c.Conditions
		}
	}
	return at
}
