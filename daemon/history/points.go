package history

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// AirPoint is the air of a zone at one moment.
type AirPoint struct {
	Time          time.Time
	TemperatureC  float64
	HumidityPct   float64
	DewPointC     *float64
	VapourDensity float64
	Quality       view.Quality
	Source        Source
}

// pointOf returns air at a moment as it is shown, with what follows from it.
func pointOf(at time.Time, a air.State, quality view.Quality, source Source) AirPoint {
	p := AirPoint{
		Time: at.UTC(), TemperatureC: precision.Celsius(a.TemperatureC), HumidityPct: precision.Percent(a.HumidityPct),
		VapourDensity: precision.GramsPerM3(a.VapourDensityGM3()), Quality: quality, Source: source,
	}
	if dew, ok := a.DewPointC(); ok {
		p.DewPointC = precision.Known(&dew, precision.Celsius)
	}
	return p
}

// Zones returns the zones of which there is air, in the order of their ids.
func (h *History) Zones(ctx context.Context) ([]string, error) {
	h.mu.RLock()
	defer h.mu.RUnlock()
	known := map[string]bool{}
	for row := range h.waiting.quarters {
		if row.series.kind == kindZone {
			known[row.series.name] = true
		}
	}
	if h.store != nil {
		rows, err := h.store.read.QueryContext(ctx, `SELECT DISTINCT name FROM series WHERE kind = ?`, kindZone)
		if err != nil {
			return nil, fmt.Errorf("history: read zones: %w", err)
		}
		defer rows.Close()
		for rows.Next() {
			var name string
			if err := rows.Scan(&name); err != nil {
				return nil, fmt.Errorf("history: read zones: %w", err)
			}
			known[name] = true
		}
		if err := rows.Err(); err != nil {
			return nil, fmt.Errorf("history: read zones: %w", err)
		}
	}
	return slices.Sorted(maps.Keys(known)), nil
}

// airWindow is how much air is read at once.
const airWindow = 24 * time.Hour

// longestStep is how long a step of air may be: it is filed under its end.
const longestStep = 24 * time.Hour

// EachAir calls each for the air of a zone in [from, to) as it was recorded, oldest first, and at for the
// begin of each part that is read. Imported air is given where the bench recorded none. It stops
// at the first error of each and returns it.
func (h *History) EachAir(ctx context.Context, zone string, from, to time.Time, each func(AirPoint) error, at func(time.Time)) error {
	last := time.Time{}
	first, end, err := h.extent(ctx, zone, from, to)
	if err != nil {
		return err
	}
	for begin := first; begin.Before(end); begin = begin.Add(airWindow) {
		at(begin)
		until := begin.Add(airWindow)
		if until.After(end) {
			until = end
		}
		steps, err := h.settings.Journal.History(ctx, zone, begin, until.Add(longestStep))
		if err != nil {
			return err
		}
		points := pointsOf(steps, begin, until)
		paper, err := h.paperAir(ctx, zone, begin, until)
		if err != nil {
			return err
		}
		for _, p := range paper {
			if !covered(steps, p.Time) {
				points = append(points, p)
			}
		}
		slices.SortStableFunc(points, func(a, b AirPoint) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Source, b.Source)) })
		for _, p := range points {
			if !p.Time.After(last) {
				continue
			}
			last = p.Time
			if err := each(p); err != nil {
				return err
			}
		}
	}
	return nil
}

// pointsOf returns the ends of the steps in [from, to). Where one step ends in other air than the next
// begins in, the later counts.
func pointsOf(steps []cure.PastStep, from, to time.Time) (points []AirPoint) {
	add := func(at time.Time, a air.State, s cure.Step) {
		if at.Before(from) || !at.Before(to) {
			return
		}
		quality := view.QualityGood
		switch {
		case s.Kind == cure.Stale:
			quality = view.QualityBad
		case s.Uncertain || s.Kind == cure.Bridged:
			quality = view.QualityUncertain
		}
		p := pointOf(at, a, quality, Measured)
		if n := len(points); n > 0 && !points[n-1].Time.Before(p.Time) {
			if points[n-1].Time.After(p.Time) { // the clock was set back
				return
			}
			points = points[:n-1]
		}
		points = append(points, p)
	}
	for _, p := range steps {
		add(p.Start, p.Step.From, p.Step)
		add(p.End(), p.Step.To, p.Step)
	}
	return points
}

// covered reports whether a step contains an instant and had a reading.
func covered(steps []cure.PastStep, at time.Time) bool {
	return slices.ContainsFunc(steps, func(p cure.PastStep) bool {
		return p.Step.Kind != cure.Stale && !at.Before(p.Start) && at.Before(p.End())
	})
}

// extent narrows a span to the days of which there is air of a zone.
func (h *History) extent(ctx context.Context, zone string, from, to time.Time) (first, end time.Time, err error) {
	least, greatest := int64(1<<62), int64(-1<<62)
	see := func(row int64) {
		least, greatest = min(least, row), max(greatest, row)
	}
	h.mu.RLock()
	defer h.mu.RUnlock()
	for row := range h.waiting.quarters {
		if row.series.kind == kindZone && row.series.name == zone {
			see(row.row)
		}
	}
	for _, source := range []Source{Measured, Paper} {
		if h.store == nil {
			break
		}
		id, err := h.store.find(ctx, seriesKey{source, kindZone, zone})
		if err != nil || id == 0 {
			if err != nil {
				return first, end, err
			}
			continue
		}
		var low, high *int64
		half := quarters.series / 2
		if err := h.store.read.QueryRowContext(ctx, `SELECT min(key), max(key) FROM quarters WHERE key BETWEEN ? AND ?`, id*quarters.series-half, id*quarters.series+half-1).
			Scan(&low, &high); err != nil {
			return first, end, err
		}
		if low != nil && high != nil {
			see(*low - id*quarters.series)
			see(*high - id*quarters.series)
		}
	}
	if least > greatest {
		return to, to, nil
	}
	first = later(from, time.UnixMilli(quarters.starts(least, 0)).UTC())
	end = time.UnixMilli(quarters.starts(greatest+1, 0)).UTC()
	if end.After(to) {
		end = to
	}
	return first, end, nil
}

// paperAir returns imported air in [from, to), oldest first.
func (h *History) paperAir(ctx context.Context, zone string, from, to time.Time) ([]AirPoint, error) {
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.store == nil {
		return nil, nil
	}
	id, err := h.store.find(ctx, seriesKey{Paper, kindZone, zone})
	if err != nil || id == 0 {
		return nil, err
	}
	rows, err := h.store.read.QueryContext(ctx, `SELECT at, celsius, percent FROM paper_air WHERE series = ? AND at >= ? AND at < ? ORDER BY at`, id, from.UnixMilli(), to.UnixMilli())
	if err != nil {
		return nil, fmt.Errorf("history: read imported air: %w", err)
	}
	defer rows.Close()
	var out []AirPoint
	for rows.Next() {
		var at int64
		var celsius, percent float64
		if err := rows.Scan(&at, &celsius, &percent); err != nil {
			return nil, fmt.Errorf("history: read imported air: %w", err)
		}
		out = append(out, pointOf(time.UnixMilli(at), stateOf(celsius, percent), view.QualityGood, Paper))
	}
	return out, rows.Err()
}
