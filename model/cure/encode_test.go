package cure

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

func marshal(t testing.TB, c *Ensemble) string {
	t.Helper()
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestMarshalIsLosslessToTheBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := New(calibrateAny(t), Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.03, anyAir(t, "start"))
		randomLife(t, c)
		text, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		var back Ensemble
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(&back)
		if err != nil || string(again) != string(text) {
			t.Fatalf("came back different (%v)", err)
		}
		// Both go on alike to the bit.
		p, s := anyPlace(t), Step{Duration: time.Hour, From: anyAir(t, "from"), To: anyAir(t, "to"), Kind: Bridged}
		c.Advance(p, s)
		back.Advance(p, s)
		if !reflect.DeepEqual(c.now, back.now) || c.nominal != back.nominal || c.crossed != back.crossed || c.Risk() != back.Risk() ||
			c.Forecast(p, s.To, 0) != back.Forecast(p, s.To, 0) {
			t.Fatal("the copy lives on differently")
		}
	})
}

// randomLife takes an ensemble through a few calls of any kind and checks what must always hold.
func randomLife(t *rapid.T, c *Ensemble) {
	kinds := []StepKind{Measured, Held, Stale, Bridged}
	for range rapid.IntRange(0, 6).Draw(t, "calls") {
		p := anyPlace(t)
		s := Step{
			Duration: time.Duration(rapid.Int64Range(0, int64(20*time.Hour)).Draw(t, "duration")), From: anyAir(t, "from"), To: anyAir(t, "to"),
			Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Worst: anyAir(t, "worst"), Uncertain: rapid.Bool().Draw(t, "uncertain"),
			Held: time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "held")),
		}
		spent, age := c.Spent(), c.Age()
		switch rapid.IntRange(0, 5).Draw(t, "call") {
		case 0:
			c.Good()
		case 1:
			c.MarkAtLeast()
		case 2:
			c.CountGap(p, s)
		default:
			c.Advance(p, s)
		}
		if c.Spent() < spent || c.Age() < age {
			t.Fatalf("life ran backwards: %v, %v after %v, %v", c.Spent(), c.Age(), spent, age)
		}
		ends, risk := c.Forecast(p, s.To, s.Held), c.Risk()
		if !(risk >= 0 && risk <= 1) || ends.Low < 0 || ends.Low > ends.Expected || ends.Expected > ends.High {
			t.Fatalf("risk %v, ends %+v", risk, ends)
		}
		if (ends.Low <= c.Age()) != (risk >= 0.10) || (ends.Expected <= c.Age()) != (risk >= 0.50) || (ends.High <= c.Age()) != (risk >= 0.90) {
			t.Fatalf("at %v: risk %v, ends %+v", c.Age(), risk, ends)
		}
		if c.goodAt > c.Age() || !(c.DoubtfulShare() >= 0 && c.DoubtfulShare() <= 1) || !(c.Rate(p, s.To) > 0) {
			t.Fatalf("good at %v of %v, doubtful %v", c.goodAt, c.Age(), c.DoubtfulShare())
		}
	}
}

func TestAnyLifeKeepsTheInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		randomLife(t, New(calibrateAny(t), Sensor{TemperatureAccuracyC: 2, HumidityAccuracyPct: 5}, 0.07, anyAir(t, "start")))
	})
}

func TestUnmarshalRefusesDamage(t *testing.T) {
	c := usualEnsembleAt(t, air.State{TemperatureC: 20, HumidityPct: 50})
	var whole map[string]any
	if err := json.Unmarshal([]byte(marshal(t, c)), &whole); err != nil {
		t.Fatal(err)
	}
	for key, value := range map[string]any{
		"version": 99, "members": "AAAA", "dose": "", "dose_at_good": nil, "cup_c": "!", "age_ns": -5, "ink": map[string]any{}, "gap": "AAAAAAAA8D8=",
		"last_air": map[string]any{"temperature_c": 900}, "last_exposure": 7, "nominal": map[string]any{"dose": -1},
	} {
		damaged := map[string]any{}
		for k, v := range whole {
			damaged[k] = v
		}
		damaged[key] = value
		text, err := json.Marshal(damaged)
		if err != nil {
			t.Fatal(err)
		}
		var back Ensemble
		if json.Unmarshal(text, &back) == nil {
			t.Errorf("damaged %s was read", key)
		}
	}
}

func FuzzUnmarshal(f *testing.F) {
	ink, err := usual.Calibrate()
	if err != nil {
		f.Fatal(err)
	}
	c := newEnsemble(ink, drawMembers(ink, Sensor{}, 0, 4, generator), air.State{TemperatureC: 20, HumidityPct: 50})
	c.MarkAtLeast()
	text, err := json.Marshal(c)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{}`))
	f.Add([]byte(`{"version":1,"members":null}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var c Ensemble
		if json.Unmarshal(text, &c) != nil {
			return
		}
		c.Advance(bench, still(25, 60, time.Minute))
		if !finite(c.Spent(), c.Risk()) {
			t.Fatalf("accepted an ensemble that computes %v, %v", c.Spent(), c.Risk())
		}
	})
}

func FuzzAdvanceAndForecast(f *testing.F) {
	f.Add(20.0, 50.0, 25.0, 60.0, int64(time.Hour), int64(25*time.Minute), 1.0, int64(0), uint8(0))
	f.Add(-1e300, 1e300, math.MaxFloat64, -5.0, int64(math.MaxInt64), int64(1), 0.0, int64(math.MinInt64), uint8(3))
	f.Add(85.0, 100.0, -40.0, 0.0, int64(1), int64(math.MaxInt64), -3.0, int64(math.MaxInt64), uint8(1))
	f.Fuzz(func(t *testing.T, t0, h0, t1, h1 float64, duration, lag int64, exposure float64, held int64, kind uint8) {
		from, to := air.State{TemperatureC: t0, HumidityPct: h0}, air.State{TemperatureC: t1, HumidityPct: h1}
		c := usualEnsembleAt(t, from)
		p := Place{Exposure: exposure, Lag: time.Duration(lag)}
		kinds := []StepKind{Measured, Held, Stale, Bridged}
		c.Advance(p, Step{Duration: time.Duration(duration), From: from, To: to, Kind: kinds[kind%4], Held: time.Duration(held), Worst: to})
		ends := c.Forecast(p, to, time.Duration(held))
		if !finite(c.Spent(), c.Risk(), c.Rate(p, to), c.CupTemperatureC(), c.DoubtfulShare()) || c.Age() < 0 || ends.Low < 0 || ends.High < ends.Low {
			t.Fatalf("spent %v, risk %v, age %v, ends %+v", c.Spent(), c.Risk(), c.Age(), ends)
		}
		for i := range c.now.dose {
			if !finite(c.now.dose[i], c.now.cup[i]) || c.now.dose[i] < 0 {
				t.Fatalf("member %d: dose %v, cup %v", i, c.now.dose[i], c.now.cup[i])
			}
		}
	})
}
