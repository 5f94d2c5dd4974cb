package air

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var midnight = time.Date(2025, 6, 1, 0, 0, 0, 0, time.UTC)

// recordOf is the history of so many hours of some air.
func recordOf(hours int, air func(hour int) State) History {
	var h History
	for k := range hours {
		a := air(k)
		h = h.With(midnight.Add(time.Duration(k)*time.Hour), 0, a, a)
	}
	return h
}

// day is a plain daily course, warmest at 15 h.
func day(hour int) State {
	x := math.Cos(2 * math.Pi * float64(hour-15) / 24)
	return State{TemperatureC: 21 + 3*x, HumidityPct: 50 - 8*x}
}

func TestHistoryTakesWholeHours(t *testing.T) {
	h := History{}.With(midnight.Add(90*time.Minute), 2*time.Hour, State{20, 40}, State{24, 60})
	if h.Hours() != 2 || h.First != midnight.Unix()/3600+2 || h.End() != h.First+1 {
		t.Fatalf("%+v", h)
	}
	for hour, want := range map[int64]State{h.First: {21, 45}, h.First + 1: {23, 55}} {
		if got, ok := h.at(hour); !ok || got != want {
			t.Errorf("hour %d: %v %v, want %v", hour, got, ok, want)
		}
	}
	// Inside the hour there is nothing to add; the old one stays as it was.
	same := h.With(midnight.Add(211*time.Minute), 20*time.Minute, State{30, 50}, State{30, 50})
	later := h.With(midnight.Add(6*time.Hour), time.Minute, State{22, 50}, State{22, 50})
	if same.Hours() != 2 || h.Hours() != 2 || later.Hours() != 5 {
		t.Errorf("%d, %d, %d hours", same.Hours(), h.Hours(), later.Hours())
	}
	if _, ok := later.at(h.End() + 1); ok {
		t.Error("an hour that nobody measured is known")
	}
	if shifted := later.Shift(61 * time.Minute); shifted.First != later.First+1 || later.Shift(-20*time.Minute).First != later.First {
		t.Errorf("shifted to %d from %d", shifted.First, later.First)
	}
	if (History{}).End() != -1 || (History{}).With(time.Unix(-7200, 0), 0, day(1), day(1)).Hours() != 0 {
		t.Error("an empty history knows an hour")
	}
}

func TestHistoryIsBoundedAndSurvivesTheJournal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var h History
		at := midnight
		for range rapid.IntRange(0, 30).Draw(t, "steps") {
			// Now and then the clock goes back, or nobody measures for months.
			at = at.Add(time.Duration(rapid.SampledFrom([]int64{0, 0, 1, 3, -2, 48, 5000}).Draw(t, "gap")) * time.Hour)
			d := time.Duration(rapid.Int64Range(-1, 400*60).Draw(t, "minutes")) * time.Minute
			before := h.End()
			h = h.With(at, d, anyState().Draw(t, "from"), anyState().Draw(t, "to"))
			if h.End() < before || h.Hours() > historyHours || len(h.Temperatures) != len(h.Humidities) {
				t.Fatalf("ends at %d after %d, %d hours", h.End(), before, h.Hours())
			}
			at = at.Add(max(d, 0))
		}
		text, err := json.Marshal(h)
		if err != nil || len(text) > 6000 {
			t.Fatalf("%d bytes, %v", len(text), err)
		}
		var back History
		if err := json.Unmarshal(text, &back); err != nil || back.Hours() != h.Hours() || back.End() != h.End() {
			t.Fatalf("came back as %+v (%v)", back, err)
		}
		if habit, ok := h.Habit(); ok {
			checkPath(t, habit.Ahead(anyState().Draw(t, "now"), at))
		}
	})
}

type failer interface{ Fatalf(string, ...any) }

// checkPath: whatever was recorded, a path is air, and its strays can be computed with.
func checkPath(t failer, p *Path) {
	for hours := 0.0; hours < 200; hours += 0.7 {
		expected, stray, together := p.At(hours)
		if expected.Valid() != nil || !(stray.TemperatureC >= 0 && stray.TemperatureC < 100) || !(stray.HumidityPct >= 0 && stray.HumidityPct < 200) ||
			!(math.Abs(together) <= 1) {
			t.Fatalf("at %v h: %v ± %v, %v", hours, expected, stray, together)
		}
	}
}

func TestFewDaysAreNoHabit(t *testing.T) {
	if _, ok := recordOf(47, day).Habit(); ok {
		t.Error("a habit from less than two days")
	}
	habit, ok := recordOf(49, day).Habit()
	if !ok {
		t.Fatal("no habit from two days")
	}
	// Hardly anything is given up of the default yet.
	near(t, "stray per root hour", habit.PerRootHour().TemperatureC, DriftTemperatureK, 0.3*DriftTemperatureK)
}

func TestARegularDayIsForeseen(t *testing.T) {
	habit, ok := recordOf(14*24+8, day).Habit()
	if !ok {
		t.Fatal("no habit")
	}
	p := habit.Ahead(day(8), midnight.Add((14*24+8)*time.Hour))
	for _, ahead := range []int{4, 7, 12, 24, 40} {
		expected, _, _ := p.At(float64(ahead))
		near(t, "temperature", expected.TemperatureC, day(8+ahead).TemperatureC, 0.6)
		near(t, "humidity", expected.HumidityPct, day(8+ahead).HumidityPct, 3)
	}
	_, at7, _ := p.At(7)
	if at7.TemperatureC >= DriftTemperatureK*math.Sqrt(7)/2 || at7.HumidityPct >= DriftHumidityPct*math.Sqrt(7)/2 {
		t.Errorf("air that is the same every day strays by %v", at7)
	}
}

// Air without a day that wanders at random stays as now, and strays as it did.
func TestARandomWalkStaysAsNow(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	a := State{22, 50}
	walk := recordOf(15*24, func(int) State {
		// The same wind moves both, the other way.
		z := rng.NormFloat64()
		a = State{a.TemperatureC + 0.25*z, a.HumidityPct - 1.5*z}.Clamp()
		return a
	})
	habit, _ := walk.Habit()
	p := habit.Ahead(a, midnight.Add(15*24*time.Hour))
	expected, stray, together := p.At(3)
	near(t, "expected", expected.TemperatureC, a.TemperatureC, 0.2)
	near(t, "stray", stray.TemperatureC, 0.25*math.Sqrt(3), 0.15)
	if together > -0.8 {
		t.Errorf("temperature and humidity stray together by %v", together)
	}
	near(t, "between readings", habit.PerRootHour().HumidityPct, 1.5, 0.6)
}

// The integral of the stray is the spread of the integrated error: by default 0.5 K √t, whose
// integral is 0.5 K 2/3 t^1.5.
func TestStrayIntegratesToItsSpread(t *testing.T) {
	var c course
	var none [AheadHours + 1][]float64
	c.spread(none, DriftTemperatureK)
	sum := 0.0
	for ahead := 1; ahead <= 12; ahead++ {
		sum += (c.stray[ahead-1] + c.stray[ahead]) / 2
	}
	near(t, "integral over 12 h", sum, 0.5*2.0/3*math.Pow(12, 1.5), 0.2)
	near(t, "per root hour", bridge(nil, DriftTemperatureK), DriftTemperatureK, 1e-12)
}

func TestHabitIsTheSameToTheBit(t *testing.T) {
	h := recordOf(300, day)
	a, _ := h.Habit()
	b, _ := h.Habit()
	if *a != *b {
		t.Error("two habits of one record differ")
	}
}

// Once an hour and zone.
func BenchmarkHabit(b *testing.B) {
	h := recordOf(historyHours, day)
	b.ReportAllocs()
	for b.Loop() {
		h.Habit()
	}
}

func FuzzHistory(f *testing.F) {
	text, err := json.Marshal(recordOf(100, day))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text, int64(100), int64(3600), 20.0, 50.0)
	f.Add([]byte(`{"first":-9223372036854775808,"temperatures":[1],"humidities":[2]}`), int64(1), int64(1), 85.0, 100.0)
	f.Add([]byte(`{"first":9223372036854775807,"temperatures":[1,2,-32768],"humidities":[2,-5]}`), int64(-5), int64(-1), math.NaN(), 0.0)
	f.Fuzz(func(t *testing.T, text []byte, start, seconds int64, celsius, pct float64) {
		var h History
		if json.Unmarshal(text, &h) != nil {
			return
		}
		at, a := time.Unix(start%(1<<40), 0), State{celsius, pct}
		h = h.With(at, time.Duration(seconds%(1<<30))*time.Second, a, day(3))
		if err := h.valid(); err != nil {
			t.Fatal(err)
		}
		if habit, ok := h.Habit(); ok {
			checkPath(t, habit.Ahead(a, at))
		}
	})
}
