package airpath

import (
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// follows applies steps to a path and returns their kinds and lengths.
func follows(c Closed, steps []Step) (Closed, []cure.StepKind, []time.Duration) {
	var kinds []cure.StepKind
	var lengths []time.Duration
	for _, s := range steps {
		c = c.With(s)
		kinds, lengths = append(kinds, s.Kind), append(lengths, s.Duration)
	}
	return c, kinds, lengths
}

func certain(air.State, time.Time) bool { return false }

// A sensor is silent: its last value holds until it is stale, and no longer.
func TestAHoldEnds(t *testing.T) {
	with := Sensors{Fresh: 15 * time.Second, StaleAfter: 5 * time.Minute, Doubtful: certain}
	var p Path
	a := air.State{TemperatureC: 23, HumidityPct: 47}
	c, _, _ := follows(Closed{}, []Step{First(noon)})
	c, _, _ = follows(c, p.Read(c, a, noon.Add(time.Second), with))
	c, kinds, lengths := follows(c, p.CloseTo(c, noon.Add(time.Hour), with))
	if len(kinds) != 2 || kinds[0] != cure.Held || kinds[1] != cure.Stale || lengths[0] != 5*time.Minute {
		t.Errorf("steps %v of %v, want 5 min held, then stale", kinds, lengths)
	}
	if open := p.Open(c, noon.Add(2*time.Hour), with); open.Kind != cure.Stale {
		t.Errorf("after an hour of silence the open step is %s", open.Kind)
	}
	back := air.State{TemperatureC: 19, HumidityPct: 61}
	c, _, _ = follows(c, p.Read(c, back, noon.Add(2*time.Hour), with))
	if v, measured := p.Value(c); !measured || v != back || c.Air != back {
		t.Errorf("after the sensor is back: %+v, path %+v", v, c.Air)
	}
}

// A sensor that is read each five seconds, none of them at a whole minute, has one step of a minute
// for each minute.
func TestOneStepAMinute(t *testing.T) {
	with := Sensors{Fresh: 15 * time.Second, StaleAfter: 5 * time.Minute, Doubtful: certain}
	var p Path
	c, _, _ := follows(Closed{}, []Step{First(noon)})
	var lengths []time.Duration
	for second := range 600 {
		now := noon.Add(time.Duration(second) * time.Second)
		if second%5 == 4 {
			c, _, _ = follows(c, p.Read(c, air.State{TemperatureC: 23 + float64(second%7)/1000, HumidityPct: 47}, now, with))
		}
		var more []time.Duration
		c, _, more = follows(c, p.CloseMinute(c, now, false, with))
		lengths = append(lengths, more...)
	}
	if len(lengths) < 9 || len(lengths) > 11 {
		t.Fatalf("in ten minutes %d steps were closed: %v", len(lengths), lengths)
	}
	for _, l := range lengths[2:] {
		if l != time.Minute {
			t.Errorf("steps of %v", lengths)
			break
		}
	}
}

// A restart is bridged by a straight line to the first reading.
func TestARestartIsBridged(t *testing.T) {
	with := Sensors{Fresh: 15 * time.Second, StaleAfter: 5 * time.Minute, Doubtful: certain}
	c, _, _ := follows(Closed{}, []Step{First(noon)})
	var before Path
	c, _, _ = follows(c, before.Read(c, air.State{TemperatureC: 23, HumidityPct: 47}, noon, with))
	c.Bridged = true
	var p Path
	at := noon.Add(3 * time.Minute)
	if steps := p.CloseMinute(c, noon.Add(2*time.Minute), true, Sensors{Fresh: -1, StaleAfter: 5 * time.Minute, Doubtful: certain}); len(steps) != 0 {
		t.Errorf("closed %v while a reading may still bridge the gap", steps)
	}
	steps := p.Read(c, air.State{TemperatureC: 20, HumidityPct: 50}, at, with)
	if len(steps) != 1 || steps[0].Kind != cure.Bridged || steps[0].From.TemperatureC != 23 || steps[0].To.TemperatureC != 20 || !steps[0].End().Equal(at) {
		t.Errorf("bridged by %+v", steps)
	}
	if c, _, _ = follows(c, steps); c.Bridged {
		t.Error("the path still waits for a bridge")
	}
}

// A clock that was set moves every instant of a path, and no length.
func TestShift(t *testing.T) {
	c, _, _ := follows(Closed{}, []Step{First(noon)})
	if never := c.Shift(time.Hour).ReadAt; !never.IsZero() {
		t.Errorf("what was never read was read at %v", never)
	}
	var p Path
	with := Sensors{Fresh: 15 * time.Second, StaleAfter: 5 * time.Minute, Doubtful: certain}
	c, _, _ = follows(c, p.Read(c, air.State{TemperatureC: 23, HumidityPct: 47}, noon.Add(time.Second), with))
	c, _, _ = follows(c, p.CloseTo(c, noon.Add(10*time.Second), with))
	for _, d := range []time.Duration{time.Hour, -30 * time.Minute} {
		moved := c.Shift(d)
		if moved.Until.Sub(c.Until) != d || moved.ReadAt.Sub(c.ReadAt) != d || len(moved.Recent) != len(c.Recent) {
			t.Fatalf("moved by %v: %+v, was %+v", d, moved, c)
		}
		for i := range c.Recent {
			if moved.Recent[i].Start.Sub(c.Recent[i].Start) != d || moved.Recent[i].Step != c.Recent[i].Step {
				t.Errorf("moved by %v: step %+v, was %+v", d, moved.Recent[i], c.Recent[i])
			}
		}
	}
}
