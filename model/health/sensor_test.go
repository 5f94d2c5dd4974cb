package health

import (
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

// outdoor is a made-up year of weather: a season, a day, and fronts that pass within some days. It
// stands for no place.
func outdoor(r *rand.Rand) func(hour int) air.State {
	front, damp := 0.0, 0.0
	return func(hour int) air.State {
		const day = 24.0
		front = 0.985*front + 0.8*r.NormFloat64()
		damp = 0.98*damp + 2*r.NormFloat64()
		season := -math.Cos(2 * math.Pi * float64(hour) / (365 * day))
		c := 10 + 10*season + 4*math.Sin(2*math.Pi*(float64(hour%24)-9)/day) + front
		return air.State{TemperatureC: c, HumidityPct: min(max(75-8*math.Sin(2*math.Pi*(float64(hour%24)-9)/day)+damp, 20), 100)}
	}
}

// building follows the air outside within six hours, is heated to 18 °C at least, and has 200 Pa of
// vapour more.
type building struct {
	celsius, vapour float64
	began           bool
}

func (b *building) next(out air.State) air.State {
	e := out.VapourPressurePa() + 200
	if !b.began {
		b.celsius, b.vapour, b.began = max(out.TemperatureC, 18), e, true
	}
	follow := 1 - math.Exp(-1.0/6)
	b.celsius = max(b.celsius+(out.TemperatureC-b.celsius)*follow, 18)
	b.vapour += (e - b.vapour) * follow
	return air.State{TemperatureC: b.celsius, HumidityPct: min(100*b.vapour/air.SaturationPressurePa(b.celsius), 100)}
}

// cheap is a sensor of ±2 % with faults that a healthy one has: an offset, a gain, hysteresis, noise,
// a chip that is warmer than the room, and steps of 0.1.
type cheap struct {
	offset, gain, warmer, slow float64
	r                          *rand.Rand
}

func newCheap(r *rand.Rand) cheap {
	return cheap{offset: 1.5 * (2*r.Float64() - 1), gain: 1 + 0.02*(2*r.Float64()-1), warmer: r.Float64(), slow: math.NaN(), r: r}
}

func (s *cheap) read(room air.State, driftPct float64) air.State {
	if math.IsNaN(s.slow) {
		s.slow = room.HumidityPct
	}
	s.slow += (room.HumidityPct - s.slow) / (6 * 24) // hysteresis of 1 % at most, within a day
	lag := min(max(0.1*(s.slow-room.HumidityPct), -1), 1)
	c := room.TemperatureC + s.warmer
	pct := 100 * room.VapourPressurePa() / air.SaturationPressurePa(c)
	tenths := func(x float64) float64 { return math.Round(10*x) / 10 }
	return air.State{TemperatureC: tenths(c), HumidityPct: tenths(min(max(s.offset+s.gain*pct+lag+0.1*s.r.NormFloat64()+driftPct, 0), 100))}
}

// year is a year of two sensors in one zone, of which the second drifts from a day on.
type year struct {
	driftDay  int
	driftsPct float64 // a day
}

// lives returns the days on which Drift told of the second sensor, and those on which Moved or
// StuckAfter told of the first.
func (y year) lives(r *rand.Rand, weather func(hour int) air.State) (drifted, others []int) {
	var a, b Watch
	var daysA, daysB []Day
	one, two := newCheap(r), newCheap(r)
	var in building
	for day := range 365 {
		for hour := range 24 {
			room := in.next(weather(24*day + hour))
			for part := range 6 {
				at := time.Duration(day)*24*time.Hour + time.Duration(hour)*time.Hour + time.Duration(part)*10*time.Minute
				drift := y.driftsPct * max(float64(day-y.driftDay), 0)
				// The people of the room, and a place that is a little more humid than the other.
				here := air.State{TemperatureC: room.TemperatureC + 0.3*r.NormFloat64(), HumidityPct: min(room.HumidityPct+0.3*r.NormFloat64(), 100)}
				x, z := one.read(here, 0), two.read(here, drift)
				a.Add(x, at, hour, "b", &z)
				b.Add(z, at, hour, "a", &x)
			}
			if a.Same() > StuckAfter(daysA) {
				others = append(others, day)
			}
		}
		daysA, daysB = Kept(daysA, a.EndDay(0)), Kept(daysB, b.EndDay(0))
		if _, drifts, _ := Drift(daysB); drifts {
			drifted = append(drifted, day)
		}
		if _, moved, _ := Moved(daysA); moved {
			others = append(others, day)
		}
	}
	return drifted, others
}

const (
	fewYears = 2
	allYears = 10 // with POTLIFED_LONG=1
)

func years(t *testing.T) int {
	if os.Getenv("POTLIFED_LONG") != "" {
		return allYears
	}
	t.Logf("%d simulated years instead of %d; set POTLIFED_LONG=1 for all", fewYears, allYears)
	return fewYears
}

// TestAnUnreliableSensor: what is counted of errors and jumps is judged over a week.
func TestAnUnreliableSensor(t *testing.T) {
	week := func(d Day) (days []Day) {
		for range 7 {
			days = append(days, d)
		}
		return days
	}
	for _, c := range []struct {
		day          Day
		fails, jumps bool
	}{
		{Day{N: 1000, Errors: 20, Jumps: 3}, false, false},
		{Day{N: 900, Errors: 100}, true, false},
		{Day{N: 1000, Jumps: 11}, false, true},
	} {
		days := week(c.day)
		share, _ := ErrorShare(days)
		jumps, known := JumpsPerDay(days)
		if !known || Fails(days) != c.fails || JumpsOften(days) != c.jumps || jumps != float64(c.day.Jumps) {
			t.Errorf("%+v: errors %v, %v jumps a day; want too many %v, %v", c.day, share, jumps, c.fails, c.jumps)
		}
		if _, known := JumpsPerDay(days[1:]); known || Fails(days[1:]) || JumpsOften(days[1:]) {
			t.Error("six days are a week")
		}
		if mended := append(days, Day{N: 1000}); Fails(mended) || JumpsOften(mended) {
			t.Errorf("%+v: mended, and still told of after a good day", c.day)
		}
	}
}

// TestHealthyYears: no alarm in simulated years of healthy sensors.
func TestHealthyYears(t *testing.T) {
	for n := range years(t) {
		r := rand.New(rand.NewPCG(uint64(n), 1))
		if drifted, others := (year{}).lives(r, outdoor(r)); len(drifted)+len(others) > 0 {
			t.Errorf("year %d: drift on days %v, moved or stuck on days %v", n, drifted, others)
		}
	}
}

// TestADriftIsFoundWithinTheMonth lets a sensor drift by 3 % RH a month, upwards and downwards, from
// some day on.
func TestADriftIsFoundWithinTheMonth(t *testing.T) {
	for n := range years(t) {
		r := rand.New(rand.NewPCG(uint64(n), 2))
		y := year{driftDay: 60 + r.IntN(200), driftsPct: 0.1}
		if n%2 == 1 {
			y.driftsPct = -0.1
		}
		drifted, others := y.lives(r, outdoor(r))
		if len(drifted) == 0 || drifted[0] < y.driftDay || drifted[0] > y.driftDay+30 || len(others) > 0 {
			t.Errorf("year %d: drifts by %v a day from day %d on; found first of %v, others %v", n, y.driftsPct, y.driftDay, drifted[:min(len(drifted), 1)], others)
		}
	}
}

func TestStuckAfter(t *testing.T) {
	day := func(same time.Duration) Day { return Day{N: 100, Same: same} }
	for _, c := range []struct {
		name string
		days []Day
		want time.Duration
	}{
		{"nothing known", nil, 24 * time.Hour},
		{"one day", []Day{day(10 * time.Second)}, 24 * time.Hour},
		{"fine steps", slices.Repeat([]Day{day(10 * time.Second)}, 5), time.Hour},
		{"coarse steps, quiet nights", slices.Repeat([]Day{day(3 * time.Hour)}, 5), 9 * time.Hour},
		{"a frozen sensor is not learned without end", slices.Repeat([]Day{day(20 * time.Hour)}, 5), 24 * time.Hour},
	} {
		if got := StuckAfter(c.days); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestWatch(t *testing.T) {
	var w Watch
	room := air.State{TemperatureC: 20, HumidityPct: 50}
	for i := range 60 {
		w.Add(room, time.Duration(i)*time.Minute, 7, "", nil)
	}
	w.Fail()
	if w.Same() != 59*time.Minute {
		t.Errorf("the same for %v", w.Same())
	}
	w.Add(air.State{TemperatureC: 20, HumidityPct: 56}, time.Hour, 8, "other", &room)
	d := w.EndDay(time.Hour)
	if d.N != 61 || d.Errors != 1 || d.Jumps != 1 || d.Same != 59*time.Minute || math.Abs(d.ApartPct-6) > 1e-9 || d.Beside != "other" {
		t.Errorf("%+v", d)
	}
	// A chip that is 2 K warmer reads 44.22 % of the same vapour (checked with an independent
	// computation of the vapour pressure).
	if apart := apart(air.State{TemperatureC: 22, HumidityPct: 44.22}, room); math.Abs(apart) > 0.01 {
		t.Errorf("a warmer chip is apart by %v %%", apart)
	}
	if share, known := ErrorShare([]Day{{N: 90, Errors: 10}}); share != 0.1 || known {
		t.Errorf("errors %v, %v", share, known)
	}
}

func TestMovedNeedsMoreThanASeason(t *testing.T) {
	season := func(step, jump float64) (days []Day) {
		for i := range 70 {
			pct := 45 + step*float64(i)
			if i >= 56 {
				pct += jump
			}
			days = append(days, Day{N: 1, MeanPct: pct})
		}
		return days
	}
	if _, moved, known := Moved(season(0.4, 0)); moved || !known {
		t.Errorf("0.4 %% a day: moved %v, known %v", moved, known)
	}
	if pct, moved, _ := Moved(season(0, -40)); !moved || math.Abs(pct+40) > 1e-9 {
		t.Errorf("40 %% less from one week to the next: %v, %v", pct, moved)
	}
	if _, _, known := Moved(season(0, 0)[:60]); known {
		t.Error("known after 60 days")
	}
}

// TestDriftProperties: without a step there is no drift; a step beyond every limit is told within
// days, with its sign, and one of more than 3 % is still told a year later.
func TestDriftProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64Range(-8, 8).Draw(t, "step")
		at := rapid.IntRange(baseDays, 60).Draw(t, "at")
		later := rapid.SampledFrom([]int{nowDays, 365}).Draw(t, "later")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var days []Day
		for i := range at + later {
			d := Day{Beside: "a", ApartPct: 1 + 0.2*(2*r.Float64()-1)}
			if i >= at {
				d.ApartPct += step
			}
			days = Kept(days, d)
		}
		pct, drifts, known := Drift(days)
		const most = 0.4 + driftSigma*1.4826*0.4
		switch {
		case !known:
			t.Fatal("not known")
		case math.Abs(step) < monthPct-0.4 && drifts:
			t.Fatalf("a step of %v is told as %v", step, pct)
		case later == nowDays && math.Abs(step) > monthPct+most && !drifts, math.Abs(step) > everPct+most && !drifts:
			t.Fatalf("a step of %v is not told: %v", step, pct)
		case drifts && pct*step < 0:
			t.Fatalf("a step of %v is told as %v", step, pct)
		}
	})
}

// TestRecordedClimates does the same in the recorded climates that POTLIFED_CLIMATES names, inside a
// building.
func TestRecordedClimates(t *testing.T) {
	folder := os.Getenv("POTLIFED_CLIMATES")
	if folder == "" {
		t.Skip("POTLIFED_CLIMATES names no folder with recorded climates")
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no climate in %s: %v", folder, err)
	}
	for _, file := range files {
		hours := recorded(t, file)
		weather := func(hour int) air.State { return hours[hour%len(hours)] }
		for n := range allYears {
			r := rand.New(rand.NewPCG(uint64(n), 3))
			if drifted, others := (year{}).lives(r, weather); len(drifted)+len(others) > 0 {
				t.Errorf("%s, healthy year %d: drift on days %v, moved or stuck on days %v", filepath.Base(file), n, drifted, others)
			}
			y := year{driftDay: 60 + r.IntN(200), driftsPct: 0.1 * float64(1-2*(n%2))}
			if drifted, others := y.lives(r, weather); len(drifted) == 0 || drifted[0] < y.driftDay || drifted[0] > y.driftDay+30 || len(others) > 0 {
				t.Errorf("%s, year %d: drifts by %v a day from day %d on; found first of %v, others %v", filepath.Base(file), n, y.driftsPct, y.driftDay, drifted[:min(len(drifted), 1)], others)
			}
		}
	}
}

// recorded reads time,temperature_c,humidity_pct of whole hours; an hour that is missing is left out.
func recorded(t *testing.T, file string) (hours []air.State) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		c, err1 := strconv.ParseFloat(row[1], 64)
		pct, err2 := strconv.ParseFloat(row[2], 64)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		hours = append(hours, air.State{TemperatureC: c, HumidityPct: pct})
	}
	return hours
}
