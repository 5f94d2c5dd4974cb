package air

import (
	"math"
	"time"
)

const (
	// DriftTemperatureK and DriftHumidityPct are how far the air of a zone drifts from a reading
	// in the square root of an hour, in K and % RH, while nothing is known of the zone. They are
	// an assumption for an ordinary workshop.
	DriftTemperatureK = 0.5
	DriftHumidityPct  = 3.0

	// AheadHours is how many hours ahead a Habit forecasts hour by hour. Beyond them the last
	// day repeats.
	AheadHours = 48

	// leastDays is how many days of record are needed before the default is changed: one day to
	// compare with, and one to be compared.
	leastDays = 2
	// doubt is the weight of the default in the spread, as a number of independent forecasts.
	doubt = 4.0
	// fade is the weight of the forecast "as now" in the blend, as a number of forecasts with
	// the spread of the default.
	fade = 12.0
	// apartHours is how far apart two forecasts must start so that their errors count as
	// independent.
	apartHours = 6.0
)

// Habit is how the air of a zone usually changes after a reading, learned from the zone's
// record. h hours ahead the air is expected at
//
//	now + hour(h) · [mean at that hour of the last days - mean at this hour] + mean(h) · [mean at this hour - now]
//
// This is a blend of "as now" (both weights 0) and "as at this hour on the last days" (both
// weights 1). The weights are a least-squares fit over the record, in which each forecast uses
// only what was known before it. They are shrunk towards 0, since the record of a few days would
// otherwise give noise. The spread is that of the errors which such forecasts made, shrunk
// towards the default.
//
// For a batch it matters how far the mean air from now to its end is off, so that is what is
// measured: the integral of the spread in Path has the standard deviation of the integrated
// error.
type Habit struct {
	days        float64 // days of record
	profile     [24]State
	known       [24]bool
	temperature course
	humidity    course
	together    [AheadHours + 1]float64 // correlation of both errors
}

// course holds the weights and the spread of one quantity, by hours ahead.
type course struct {
	hour, mean [AheadHours + 1]float64
	stray      [AheadHours + 1]float64
	perRoot    float64 // drift in the square root of an hour, between readings at both ends
}

// Habit returns what the history says of the zone's habit. ok is false when the history has less
// than two days of readings; callers then use the default.
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

// PerRootHour returns how far the air strays from a straight line between two readings, as one
// standard deviation in K and % RH per square root of an hour.
func (h *Habit) PerRootHour() State {
	return State{TemperatureC: h.temperature.perRoot, HumidityPct: h.humidity.perRoot}
}

// readings holds a history as numbers. An hour without a measurement is NaN.
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

// hourOfDay returns the hour of the day, 0 to 23.
func hourOfDay(hour int64) int { return int((hour%24 + 24) % 24) }

// profile returns the mean air at each hour of the day, and which hours are known.
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

// earlier returns, for each entry, the mean at each hour of the day over the entries before it;
// NaN where there are none.
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

// learn fits one quantity. It returns the errors of the mean over each number of hours ahead, by
// the hour at which the forecast starts; NaN where there is none.
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
			// A forecast across an hour without a reading gives no error from there on: the sum
			// stays NaN.
			sum[i] += (last[i] + off) / 2
			last[i] = off
			errors[ahead][i] = sum[i] / float64(ahead)
		}
	}
	c.spread(errors, drift)
	c.perRoot = bridge(values, drift)
	return errors
}

// blend returns the two weights for a number of hours ahead, fitted by least squares, each
// within 0 to 1.
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
	// At a limit, the other weight is the best one given the limit.
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

// spread turns the errors of the mean into the spread at each hour. The integral of the spread
// up to an hour is the error of that hour times the hours.
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

// bridge returns the drift per square root of an hour that explains how far the middle of six
// hours was from the straight line between their ends. A random walk tied to both ends is off by
// drift √(hours/4) there.
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

// looks returns how many independent forecasts there were.
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

// correlation returns the correlation of two errors, shrunk towards 0.
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

// Path is a forecast of the air at each whole hour after a reading: the expected air, the
// standard deviation in K and % RH, and the correlation of the deviations of temperature and
// humidity.
type Path struct {
	Expected [AheadHours + 1]State
	Stray    [AheadHours + 1]State
	Together [AheadHours + 1]float64
}

// Ahead returns the forecast that starts from a reading.
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

// usual returns the mean air at a part of an hour after an hour of the day. ok is false where an
// hour is not known.
func (h *Habit) usual(hour int64, part float64) (State, bool) {
	from, to := hourOfDay(hour), hourOfDay(hour+1)
	return Lerp(h.profile[from], h.profile[to], part), h.known[from] && h.known[to]
}

// At returns the forecast so many hours after the reading. It is interpolated linearly between
// whole hours. After the last hour the last day repeats, with the spread of the last hour.
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
