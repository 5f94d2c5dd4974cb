package air

import (
	"math"
	"time"
)

const (
	// DriftTemperatureK and DriftHumidityPct are how far a zone's air strays from a reading in the square root of an hour while nothing
	// is known of the zone: an assumption for an ordinary workshop.
	DriftTemperatureK = 0.5
	DriftHumidityPct  = 3.0

	// AheadHours is how far ahead a Habit looks hour by hour. Beyond it the last day repeats.
	AheadHours = 48

	// leastDays of record are needed before anything of the default is given up: one to compare with, one to be compared.
	leastDays = 2
	// doubt is the weight of the default in the spread, in independent looks ahead.
	doubt = 4.0
	// fade is the weight of "as now" in the blend, in looks ahead at the default's spread.
	fade = 12.0
	// apartHours: errors of looks ahead that start closer together than this say the same once more.
	apartHours = 6.0
)

// Habit is what a zone's own record says of how its air goes on from a reading: h hours ahead it is expected at
//
//	now + hour(h) · [mean at that hour of the last days - mean at this hour] + mean(h) · [mean at this hour - now]
//
// a blend of "as now" (both weights 0) and "as at this hour on the last days" (both 1). The weights are least squares over the record,
// each look ahead using only what was known before it, and are held towards 0 as a few days' record would otherwise give noise. The
// spread is that of the errors which such looks ahead made, held towards the default.
//
// What matters to a batch is how far the mean air from now until its end is off, so that is what is measured: Path gives at each hour
// the stray whose integral has the spread of the integrated error.
type Habit struct {
	days        float64 // of record behind it
	profile     [24]State
	known       [24]bool
	temperature course
	humidity    course
	together    [AheadHours + 1]float64 // correlation of both errors
}

// course is one quantity's part of a habit, by hours ahead.
type course struct {
	hour, mean [AheadHours + 1]float64
	stray      [AheadHours + 1]float64
	perRoot    float64 // drift in the square root of an hour, between readings at both ends
}

// Habit learns from the history. With less than two days of it ok is false: the default holds then.
func (h History) Habit() (habit *Habit, ok bool) {
	r := h.read()
	if r.days < leastDays {
		return nil, false
	}
	habit = &Habit{days: r.days}
	habit.profile, habit.known = r.profile()
	temperature := r.learn(r.temperature, DriftTemperatureK, &habit.temperature)
	humidity := r.learn(r.humidity, DriftHumidityPct, &habit.humidity)
	for ahead := 1; ahead <= AheadHours; ahead++ {
		habit.together[ahead] = correlation(temperature[ahead], humidity[ahead], looks(temperature[ahead], ahead))
	}
	habit.together[0] = habit.together[1]
	return habit, true
}

// PerRootHour is how far the air strays from a straight line between two readings, in K and % RH a square root of an hour.
func (h *Habit) PerRootHour() State {
	return State{TemperatureC: h.temperature.perRoot, HumidityPct: h.humidity.perRoot}
}

// readings are a history as numbers; an hour without any is NaN.
type readings struct {
	first                 int64
	temperature, humidity []float64
	days                  float64 // with readings
}

func (h History) read() readings {
	r := readings{first: h.First, temperature: make([]float64, h.Hours()), humidity: make([]float64, h.Hours())}
	for i := range r.temperature {
		a, ok := h.at(h.First + int64(i))
		if !ok {
			a = State{math.NaN(), math.NaN()}
		} else {
			r.days += 1.0 / 24
		}
		r.temperature[i], r.humidity[i] = a.TemperatureC, a.HumidityPct
	}
	return r
}

// hourOfDay is 0..23.
func hourOfDay(hour int64) int { return int((hour%24 + 24) % 24) }

// profile is the mean at each hour of the day.
func (r readings) profile() (mean [24]State, known [24]bool) {
	var n [24]float64
	for i, t := range r.temperature {
		if math.IsNaN(t) {
			continue
		}
		k := hourOfDay(r.first + int64(i))
		n[k]++
		mean[k].TemperatureC += t
		mean[k].HumidityPct += r.humidity[i]
	}
	for k := range mean {
		if known[k] = n[k] > 0; known[k] {
			mean[k].TemperatureC /= n[k]
			mean[k].HumidityPct /= n[k]
		}
	}
	return mean, known
}

// earlier is the mean at each hour of the day over what lies before each entry; NaN where there is nothing.
func (r readings) earlier(values []float64) [][24]float64 {
	before := make([][24]float64, len(values))
	var sum, n [24]float64
	for i, v := range values {
		for k := range sum {
			before[i][k] = sum[k] / n[k]
		}
		if k := hourOfDay(r.first + int64(i)); !math.IsNaN(v) {
			sum[k] += v
			n[k]++
		}
	}
	return before
}

// learn fits one quantity and returns, for each number of hours ahead, the errors of the mean over that time, by the hour of the look;
// NaN where there is none.
func (r readings) learn(values []float64, drift float64, c *course) [AheadHours + 1][]float64 {
	before := r.earlier(values)
	var errors [AheadHours + 1][]float64
	sum := make([]float64, len(values)) // of the errors from each look to the hour before
	last := make([]float64, len(values))
	for ahead := 1; ahead <= AheadHours; ahead++ {
		c.hour[ahead], c.mean[ahead] = r.blend(values, before, ahead, drift)
		errors[ahead] = make([]float64, len(values))
		for i, now := range values {
			errors[ahead][i] = math.NaN()
			if i+ahead >= len(values) {
				continue
			}
			this, then := before[i][hourOfDay(r.first+int64(i))], before[i][hourOfDay(r.first+int64(i+ahead))]
			off := values[i+ahead] - now - c.hour[ahead]*(then-this) - c.mean[ahead]*(this-now)
			// A look across an hour without a reading says nothing from there on: the sum stays NaN.
			sum[i] += (last[i] + off) / 2
			last[i] = off
			errors[ahead][i] = sum[i] / float64(ahead)
		}
	}
	c.spread(errors, drift)
	c.perRoot = bridge(values, drift)
	return errors
}

// blend is the least-squares pair of weights for a number of hours ahead, each inside 0..1.
func (r readings) blend(values []float64, before [][24]float64, ahead int, drift float64) (hour, mean float64) {
	var s11, s12, s22, s1y, s2y float64
	for i := 0; i+ahead < len(values); i++ {
		this, then := before[i][hourOfDay(r.first+int64(i))], before[i][hourOfDay(r.first+int64(i+ahead))]
		y, x1, x2 := values[i+ahead]-values[i], then-this, this-values[i]
		if math.IsNaN(y + x1 + x2) {
			continue
		}
		s11, s12, s22 = s11+x1*x1, s12+x1*x2, s22+x2*x2
		s1y, s2y = s1y+x1*y, s2y+x2*y
	}
	hold := fade * drift * drift * float64(ahead)
	s11, s22 = s11+hold, s22+hold
	det := s11*s22 - s12*s12
	hour, mean = (s1y*s22-s2y*s12)/det, (s2y*s11-s1y*s12)/det
	// At an edge the other weight is the best one given the edge.
	switch {
	case hour < 0:
		hour, mean = 0, s2y/s22
	case hour > 1:
		hour, mean = 1, (s2y-s12)/s22
	case mean < 0:
		hour, mean = s1y/s11, 0
	case mean > 1:
		hour, mean = (s1y-s12)/s11, 1
	}
	return min(max(hour, 0), 1), min(max(mean, 0), 1)
}

// spread turns the errors of the mean into the stray at each hour: its integral up to an hour is that hour's error times the time.
func (c *course) spread(errors [AheadHours + 1][]float64, drift float64) {
	var off, rise [AheadHours + 2]float64 // of the mean; of the integral in the hour before
	for ahead := 1; ahead <= AheadHours; ahead++ {
		usual := drift * (2.0 / 3) * math.Sqrt(float64(ahead)) // the mean of drift √t
		n := looks(errors[ahead], ahead)
		off[ahead] = math.Sqrt((doubt*usual*usual + n*meanSquare(errors[ahead])) / (doubt + n))
		rise[ahead] = max(float64(ahead)*off[ahead]-float64(ahead-1)*off[ahead-1], 0)
	}
	rise[AheadHours+1] = rise[AheadHours]
	for ahead := 1; ahead <= AheadHours; ahead++ {
		c.stray[ahead] = (rise[ahead] + rise[ahead+1]) / 2
	}
}

// bridge is the drift that explains how far the middle of six hours was from the straight line between their ends: a random walk tied to
// both ends is off by drift √(hours/4) there.
func bridge(values []float64, drift float64) float64 {
	const hours = 6
	sum, n := 0.0, 0.0
	for i := 0; i+hours < len(values); i++ {
		off := values[i+hours/2] - (values[i]+values[i+hours])/2
		if !math.IsNaN(off) {
			sum += off * off / (hours / 4.0)
			n++
		}
	}
	const independent = 1.0 / hours
	return math.Sqrt((doubt*drift*drift + sum*independent) / (doubt + n*independent))
}

// looks is how many independent looks ahead there were.
func looks(errors []float64, ahead int) float64 {
	n := 0
	for _, e := range errors {
		if !math.IsNaN(e) {
			n++
		}
	}
	return float64(n) / max(float64(ahead), apartHours)
}

func meanSquare(errors []float64) float64 {
	sum, n := 0.0, 0.0
	for _, e := range errors {
		if !math.IsNaN(e) {
			sum += e * e
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// correlation of two errors, held towards none.
func correlation(a, b []float64, n float64) float64 {
	var aa, ab, bb float64
	for i := range a {
		if !math.IsNaN(a[i] + b[i]) {
			aa, ab, bb = aa+a[i]*a[i], ab+a[i]*b[i], bb+b[i]*b[i]
		}
	}
	if !(aa > 0 && bb > 0) {
		return 0
	}
	return min(max(ab/math.Sqrt(aa*bb), -1), 1) * n / (n + doubt)
}

// Path is how the air goes on from a reading, at each whole hour from it: where it is expected, how far it may stray (one standard
// deviation, K and % RH), and how much both stray together (their correlation).
type Path struct {
	Expected [AheadHours + 1]State
	Stray    [AheadHours + 1]State
	Together [AheadHours + 1]float64
}

// Ahead is the path from a reading.
func (h *Habit) Ahead(now State, at time.Time) *Path {
	now = now.Clamp()
	p := &Path{Together: h.together}
	hour, part := hourUntil(at), 0.0
	part = at.Sub(time.Unix(hour*3600, 0)).Hours()
	this, ok := h.usual(hour, part)
	for ahead := range p.Expected {
		p.Expected[ahead] = now
		p.Stray[ahead] = State{TemperatureC: h.temperature.stray[ahead], HumidityPct: h.humidity.stray[ahead]}
		then, okThen := h.usual(hour+int64(ahead), part)
		if !ok || !okThen {
			continue
		}
		p.Expected[ahead] = State{
			TemperatureC: h.temperature.expected(ahead, now.TemperatureC, this.TemperatureC, then.TemperatureC),
			HumidityPct:  h.humidity.expected(ahead, now.HumidityPct, this.HumidityPct, then.HumidityPct),
		}.Clamp()
	}
	return p
}

func (c *course) expected(ahead int, now, this, then float64) float64 {
	return now + c.hour[ahead]*(then-this) + c.mean[ahead]*(this-now)
}

// usual is the mean air at a part of an hour after an hour of the day.
func (h *Habit) usual(hour int64, part float64) (State, bool) {
	from, to := hourOfDay(hour), hourOfDay(hour+1)
	return Lerp(h.profile[from], h.profile[to], part), h.known[from] && h.known[to]
}

// At is the path at so many hours from the reading: linear between the whole hours, and beyond the last the last day once more.
func (p *Path) At(hours float64) (expected, stray State, together float64) {
	beyond := hours > AheadHours
	last := AheadHours
	if beyond {
		hours = AheadHours - 24 + math.Mod(hours-AheadHours, 24)
	}
	k := min(int(max(hours, 0)), last-1)
	f := max(hours, 0) - float64(k)
	expected = Lerp(p.Expected[k], p.Expected[k+1], f)
	if beyond {
		return expected, p.Stray[last], p.Together[last]
	}
	return expected, Lerp(p.Stray[k], p.Stray[k+1], f), p.Together[k] + f*(p.Together[k+1]-p.Together[k])
}
