package history

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/view"
	"potlifed/model/air"
)

// Air is the air of a zone or of a sensor over an interval. In CSV each field is a column.
type Air struct {
	Time             time.Time    `json:"time" doc:"begin of the interval"`
	To               time.Time    `json:"to" doc:"end of the interval, which is not included"`
	Local            string       `json:"local" doc:"begin in the shop's time zone"`
	Zone             string       `json:"zone,omitempty" doc:"id of the zone"`
	Sensor           string       `json:"sensor,omitempty" doc:"id of the sensor"`
	Source           Source       `json:"source" enum:"bench,paper" doc:"bench: recorded by the bench; paper: imported"`
	TemperatureC     float64      `json:"temperature_c" doc:"mean air temperature in °C"`
	LowTemperatureC  float64      `json:"temperature_low_c" doc:"lowest air temperature in °C"`
	HighTemperatureC float64      `json:"temperature_high_c" doc:"highest air temperature in °C"`
	HumidityPct      float64      `json:"humidity_pct" doc:"mean relative humidity over liquid water in %"`
	LowHumidityPct   float64      `json:"humidity_low_pct" doc:"lowest relative humidity in %"`
	HighHumidityPct  float64      `json:"humidity_high_pct" doc:"highest relative humidity in %"`
	DewPointC        *float64     `json:"dew_point_c,omitempty" doc:"dew point at the means in °C; absent when the air is too dry to have one"`
	VapourDensity    float64      `json:"vapour_density_g_m3" doc:"water vapour at the means in g per m³ of air"`
	Readings         int64        `json:"readings,omitempty" doc:"of a sensor: number of readings"`
	KnownS           float64      `json:"known_s,omitempty" doc:"of a zone: time for which the air was known, in s"`
	Quality          view.Quality `json:"quality" enum:"good,uncertain" doc:"good, or uncertain when a part was suspect or bridged; an interval without a reading has no row"`
}

// row returns the row of a bucket.
func (b Bucket) row(of seriesKey, from, to time.Time, zone *time.Location) Air {
	a := Air{
		Time: from.UTC(), To: to.UTC(), Local: from.In(zone).Format(time.RFC3339), Source: of.source,
		TemperatureC: precision.Celsius(b.Mean.TemperatureC), LowTemperatureC: precision.Celsius(b.Lowest.TemperatureC),
		HighTemperatureC: precision.Celsius(b.Highest.TemperatureC),
		HumidityPct:      precision.Percent(b.Mean.HumidityPct), LowHumidityPct: precision.Percent(b.Lowest.HumidityPct),
		HighHumidityPct: precision.Percent(b.Highest.HumidityPct),
		VapourDensity:   precision.GramsPerM3(b.Mean.VapourDensityGM3()), Quality: view.QualityGood,
	}
	if dew, ok := b.Mean.DewPointC(); ok {
		a.DewPointC = precision.Known(&dew, precision.Celsius)
	}
	if b.Doubtful > 0 {
		a.Quality = view.QualityUncertain
	}
	if of.kind == kindSensor {
		a.Sensor, a.Readings = of.name, b.Weight
	} else {
		a.Zone, a.KnownS = of.name, precision.Seconds(float64(b.Weight)/1000)
	}
	return a
}

// ZoneAir returns the air of a zone from the interval that contains from until to, oldest first.
// An interval without a reading has no row. Where the bench recorded nothing in a quarter-hour, imported air
// is taken. It returns ErrTooMany when there are more than limit rows.
func (h *History) ZoneAir(ctx context.Context, zone string, from, to time.Time, step Step, limit int) ([]Air, error) {
	return h.folded(ctx, kindZone, zone, from, to, step, limit)
}

// SensorAir returns what a sensor measured, as [History.ZoneAir] does for a zone.
func (h *History) SensorAir(ctx context.Context, sensor string, from, to time.Time, step Step, limit int) ([]Air, error) {
	return h.folded(ctx, kindSensor, sensor, from, to, step, limit)
}

func (h *History) folded(ctx context.Context, kind, name string, from, to time.Time, step Step, limit int) ([]Air, error) {
	if step.Intervals(from, to, limit) > limit {
		return nil, tooMany(limit)
	}
	fold := newFolder(step, from)
	all, err := h.both(ctx, kind, name, fold.from.UnixMilli(), to.UnixMilli())
	if err != nil {
		return nil, err
	}
	rows := []Air{}
	var sum Bucket
	source := Paper
	end := func() {
		if sum.Weight > 0 {
			rows = append(rows, sum.row(seriesKey{source, kind, name}, fold.from, fold.to, step.zone))
		}
		sum, source = Bucket{}, Paper
	}
	for _, q := range all {
		if at := time.UnixMilli(q.ms); !at.Before(fold.to) {
			end()
			fold.reach(at)
		}
		sum.Merge(q.Bucket)
		if q.source == Measured {
			source = Measured
		}
	}
	end()
	return rows, nil
}

// sourced is a quarter-hour, or a part of one, and where it comes from.
type sourced struct {
	Bucket
	ms     int64
	source Source
}

// both returns the quarter-hours of a zone or sensor in [from, to), in the order of time: those that
// were measured, and imported ones where nothing was.
func (h *History) both(ctx context.Context, kind, name string, from, to int64) (all []sourced, err error) {
	all = make([]sourced, 0, min(max(0, (to-from)/quarters.each+1), 1<<16))
	counts := [2]int{}
	for i, source := range []Source{Measured, Paper} {
		err := h.quarters(ctx, seriesKey{source, kind, name}, from, to, func(ms int64, b Bucket) {
			all = append(all, sourced{b, ms, source})
			counts[i]++
		})
		if err != nil {
			return nil, err
		}
	}
	byTime := func(a, b sourced) int { return cmp.Or(cmp.Compare(a.ms, b.ms), cmp.Compare(a.source, b.source)) }
	if !slices.IsSortedFunc(all, byTime) {
		slices.SortStableFunc(all, byTime)
	}
	if counts[0] == 0 || counts[1] == 0 {
		return all, nil
	}
	measured := int64(math.MinInt64)
	return slices.DeleteFunc(all, func(q sourced) bool {
		if q.source == Measured {
			measured = q.ms
		}
		return q.source == Paper && q.ms == measured
	}), nil
}

// quarters calls f for the quarter-hours of a series in [from, to): those stored, then those that
// wait. One may come in parts.
func (h *History) quarters(ctx context.Context, of seriesKey, from, to int64, f func(ms int64, b Bucket)) error {
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.store != nil {
		id, err := h.store.find(ctx, of)
		if err == nil && id > 0 {
			err = quarters.scan(ctx, h.store.read, id, from, to, f)
		}
		if err != nil {
			return fmt.Errorf("history: read air of %s %q: %w", of.kind, of.name, err)
		}
	}
	h.waiting.only(of).rolled(h.waiting.of(of)).quarters.between(quarters, of, from, to, f)
	return nil
}

// only returns what waits of one series.
func (w *waiting) only(of seriesKey) *waiting {
	out := waiting{minutes: buckets{}, quarters: buckets{}}
	for row, list := range w.minutes {
		if row.series == of {
			out.minutes[row] = list
		}
	}
	for row, list := range w.quarters {
		if row.series == of {
			out.quarters[row] = list
		}
	}
	return &out
}

// of returns the readings of a sensor that wait.
func (w *waiting) of(k seriesKey) []*chunk {
	var list []*chunk
	for _, c := range w.chunks {
		if k.source == Measured && k.kind == kindSensor && c.sensor == k.name {
			list = append(list, c)
		}
	}
	return list
}

// between calls f for the buckets of a series in [from, to).
func (m buckets) between(l level, of seriesKey, from, to int64, f func(ms int64, b Bucket)) {
	for row, list := range m {
		if row.series != of {
			continue
		}
		for i, b := range list {
			if ms := l.starts(row.row, i); b.Weight > 0 && ms >= from && ms < to {
				f(ms, b)
			}
		}
	}
}

// SensorMinutes returns the minutes of a sensor in [from, to), oldest first, folded to a step of
// whole minutes that is shorter than a quarter-hour.
func (h *History) SensorMinutes(ctx context.Context, sensor string, from, to time.Time, every time.Duration, zone *time.Location, limit int) ([]Air, error) {
	if to.Sub(from)/every > time.Duration(limit) {
		return nil, tooMany(limit)
	}
	of := seriesKey{Measured, kindSensor, sensor}
	sums := map[int64]Bucket{}
	add := func(ms int64, b Bucket) {
		at := floor(ms, every.Milliseconds())
		sum := sums[at]
		sum.Merge(b)
		sums[at] = sum
	}
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.store != nil {
		id, err := h.store.find(ctx, of)
		if err == nil && id > 0 {
			err = minutes.scan(ctx, h.store.read, id, from.UnixMilli(), to.UnixMilli(), add)
		}
		if err != nil {
			return nil, fmt.Errorf("history: read minutes of sensor %q: %w", sensor, err)
		}
	}
	h.waiting.only(of).rolled(h.waiting.of(of)).minutes.between(minutes, of, from.UnixMilli(), to.UnixMilli(), add)
	rows := make([]Air, 0, len(sums))
	for at, b := range sums {
		begin := time.UnixMilli(at * every.Milliseconds())
		rows = append(rows, b.row(of, begin, begin.Add(every), zone))
	}
	slices.SortFunc(rows, func(a, b Air) int { return a.Time.Compare(b.Time) })
	return rows, nil
}

// SensorReadings returns the readings of a sensor in [from, to] as they came, in the order of
// their times. They are stored for some days only.
func (h *History) SensorReadings(ctx context.Context, sensor string, from, to time.Time, limit int) ([]Reading, error) {
	var out []Reading
	add := func(list []Reading) error {
		for _, r := range list {
			if r.At.Before(from) || r.At.After(to) {
				continue
			}
			if len(out) == limit {
				return tooMany(limit)
			}
			out = append(out, r)
		}
		return nil
	}
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.store != nil {
		if err := h.store.readings(ctx, sensor, from, to, add); err != nil {
			return nil, fmt.Errorf("history: read sensor %q: %w", sensor, err)
		}
	}
	for _, c := range h.waiting.chunks {
		if c.sensor == sensor {
			if err := add(c.readings); err != nil {
				return nil, err
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Reading) int { return a.At.Compare(b.At) })
	return out, nil
}

func (s *store) readings(ctx context.Context, sensor string, from, to time.Time, add func([]Reading) error) error {
	id, err := s.find(ctx, seriesKey{Measured, kindSensor, sensor})
	if err != nil || id == 0 {
		return err
	}
	rows, err := s.read.QueryContext(ctx, `SELECT starts, body FROM raw WHERE series = ? AND starts BETWEEN ? AND ? ORDER BY starts`,
		id, from.Add(-chunkSpan).UnixMilli(), to.UnixMilli())
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var starts int64
		var body []byte
		if err := rows.Scan(&starts, &body); err != nil {
			return err
		}
		list, err := decodeReadings(time.UnixMilli(starts).UTC(), body)
		if err != nil {
			return err
		}
		if err := add(list); err != nil {
			return err
		}
	}
	return rows.Err()
}

// stateOf returns air from two numbers.
func stateOf(celsius, percent float64) air.State {
	return air.State{TemperatureC: celsius, HumidityPct: percent}
}

// Add adds one reading.
func (b *Bucket) Add(a air.State) { b.addAir(a, 1, false) }

// Row returns the row of a sensor's air from a time to another.
func (b Bucket) Row(sensor string, from, to time.Time, zone *time.Location) Air {
	return b.row(seriesKey{Measured, kindSensor, sensor}, from, to, zone)
}
