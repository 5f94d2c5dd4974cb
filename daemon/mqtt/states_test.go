package mqtt

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/lifecycle"
)

// decider drives the decisions without a broker: what is due is taken.
type decider struct {
	*states
	now  time.Duration
	snap view.Snapshot
}

func newDecider() *decider {
	d := &decider{states: newStates(topics.New("potlife", "bench-1")), now: time.Hour}
	d.snap = *newFixture().bench.Snapshot()
	d.snap.Mono = d.now
	return d
}

// after moves the time on, changes the snapshot and returns the topics that were due.
func (d *decider) after(by time.Duration, f func(*view.Snapshot), touched ...string) []string {
	d.now += by
	d.snap.At, d.snap.Mono = d.snap.At.Add(by), d.snap.Mono+by
	if f != nil {
		f(&d.snap)
	}
	snap := d.snap
	touch := map[string]bool{}
	for _, id := range touched {
		touch[id] = true
	}
	var topics []string
	for _, c := range d.round(&snap, d.now, touch) {
		c.acknowledged()
		topics = append(topics, c.topic)
	}
	slices.Sort(topics)
	return topics
}

func TestByException(t *testing.T) {
	at := func(s *view.Snapshot) time.Time { return s.At }
	setAir := func(temperature, humidity float64) func(*view.Snapshot) {
		return func(s *view.Snapshot) { s.Air = []view.Air{airView(at(s), temperature, humidity)} }
	}
	setBatch := func(f func(*view.BatchState)) func(*view.Snapshot) {
		return func(s *view.Snapshot) {
			b := s.Batches[0]
			b.Time = s.At
			if b.EndsAt != nil {
				b.EndsAt = ptr(*b.EndsAt)
			}
			f(&b.BatchState)
			s.Batches = []view.Batch{b}
		}
	}
	setReading := func(temperature, humidity float64) func(*view.Snapshot) {
		return func(s *view.Snapshot) {
			v := s.Sensors[0]
			v.TemperatureC, v.HumidityPct, v.ReadAt = &temperature, &humidity, at(s)
			s.Sensors = []view.Sensor{v}
		}
	}
	const air, batch, scale, sensor, daemon = root + "air/bench", root + "batch/0612-1", root + "scale/scale-1", root + "sensor/bench-air", root + "daemon"
	for _, c := range []struct {
		name    string
		by      time.Duration
		f       func(*view.Snapshot)
		touched []string
		want    []string
	}{
		{"nothing", time.Second, nil, nil, nil},
		{"within the deadband", time.Second, setAir(21.09, 50.4), nil, nil},
		{"a tenth of a degree", time.Second, setAir(21.1, 50), nil, []string{air}},
		{"half a per cent", time.Second, setAir(21, 49.5), nil, []string{air}},
		{"air that was never measured", time.Second, func(s *view.Snapshot) {
			s.Air = []view.Air{{Zone: "bench", Quality: view.QualityGood}}
		}, nil, []string{air}},
		{"quality of air", time.Second, func(s *view.Snapshot) {
			v := airView(at(s), 21, 50)
			v.Quality = view.QualityUncertain
			s.Air = []view.Air{v}
		}, nil, []string{air}},
		{"a minute's silence", time.Minute, nil, nil, []string{air, batch, daemon}},
		{"half a minute", 30 * time.Second, nil, nil, []string{daemon}},
		{"weight", time.Second, func(s *view.Snapshot) {
			s.Scales = []view.Scale{{ID: "scale-1", WeightG: ptr(13.0), Stable: true, Quality: view.QualityGood}}
		}, nil, []string{scale}},
		{"weight too soon", 100 * time.Millisecond, func(s *view.Snapshot) {
			s.Scales = []view.Scale{{ID: "scale-1", WeightG: ptr(13.0), Stable: true, Quality: view.QualityGood}}
		}, nil, nil},
		{"weight gone", time.Second, func(s *view.Snapshot) {
			s.Scales = []view.Scale{{ID: "scale-1", Quality: view.QualityBad}}
		}, nil, []string{scale}},
		{"sensor", time.Second, func(s *view.Snapshot) {
			s.Sensors = []view.Sensor{{ID: "bench-air", Condition: "stale", Since: at(s)}}
		}, nil, []string{sensor}},
		{"sensor's reading within the deadband", time.Second, setReading(21.09, 50.4), nil, nil},
		{"sensor's temperature", time.Second, setReading(21.1, 50), nil, []string{sensor}},
		{"sensor's humidity", time.Second, setReading(21, 50.5), nil, []string{sensor}},
		{"the same reading for a minute", time.Minute, setReading(21, 50), nil, []string{air, batch, daemon, sensor}},
		{"an event of the batch", time.Second, nil, []string{"0612-1"}, []string{batch}},
		{"an event of another", time.Second, nil, []string{"0612-2"}, nil},
		{"quality of the batch", time.Second, setBatch(func(b *view.BatchState) { b.Quality = view.QualityBad }), nil, []string{batch}},
		{"state", time.Second, setBatch(func(b *view.BatchState) { b.State = lifecycle.Resting }), nil, []string{batch}},
		{"unloaded", time.Second, setBatch(func(b *view.BatchState) { b.Press = nil }), nil, []string{batch}},
		{"found good", time.Second, setBatch(func(b *view.BatchState) { b.GoodAt = ptr(b.Time) }), nil, []string{batch}},
		{"parts", time.Second, setBatch(func(b *view.BatchState) { b.Components = nil }), nil, []string{batch}},
		{"age alone", time.Second, setBatch(func(b *view.BatchState) { b.AgeS = ptr(9999.0) }), nil, nil},
		{"an end by 59 s", time.Second, setBatch(func(b *view.BatchState) { b.EndsAt.High = b.EndsAt.High.Add(-59 * time.Second) }), nil, nil},
		{"an end by a minute", time.Second, setBatch(func(b *view.BatchState) { b.EndsAt.High = b.EndsAt.High.Add(-60 * time.Second) }), nil, []string{batch}},
		{"one per cent of ten minutes", time.Second, setBatch(func(b *view.BatchState) { b.EndsAt.Low = b.Time.Add(10 * time.Minute) }), nil, []string{batch}},
		{"no end", time.Second, setBatch(func(b *view.BatchState) { b.EndsAt = nil }), nil, []string{batch}},
		{"closed", time.Second, func(s *view.Snapshot) { s.Batches = nil }, nil, []string{batch}},
		{"everything again", allEvery, nil, nil, []string{air, root + "availability", batch, daemon, scale, sensor}},
		{"the clock is set", time.Second, func(s *view.Snapshot) { s.At = s.At.Add(time.Hour) }, nil, []string{air, root + "availability", batch, daemon, scale, sensor}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDecider()
			if first := d.after(0, nil); len(first) != 6 {
				t.Fatalf("at first %v is due, want everything", first)
			}
			if got := d.after(c.by, c.f, c.touched...); !slices.Equal(got, c.want) {
				t.Errorf("due %v, want %v", got, c.want)
			}
		})
	}
}

// One per cent of what remains counts when it is less than a minute, down to a second.
func TestEndMoved(t *testing.T) {
	now := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		remains, move time.Duration
		want          bool
	}{
		{10 * time.Hour, 59 * time.Second, false},
		{10 * time.Hour, -60 * time.Second, true},
		{10 * time.Minute, 5 * time.Second, false},
		{10 * time.Minute, 6 * time.Second, true},
		{10 * time.Second, 900 * time.Millisecond, false},
		{10 * time.Second, time.Second, true},
		{-time.Hour, 900 * time.Millisecond, false}, // past its end
		{-time.Hour, time.Second, true},
	} {
		is := now.Add(c.remains)
		if got := endMoved(is.Add(-c.move), is, now); got != c.want {
			t.Errorf("%v before the end a move of %v counts: %v, want %v", c.remains, c.move, got, c.want)
		}
	}
}

// A change that came too soon after the last is sent when its time has come.
func TestHeldBackWeightIsSent(t *testing.T) {
	d := newDecider()
	d.after(0, nil)
	if got := d.after(50*time.Millisecond, func(s *view.Snapshot) {
		s.Scales = []view.Scale{{ID: "scale-1", WeightG: ptr(99.0)}}
	}); len(got) != 0 || d.next != 150*time.Millisecond {
		t.Fatalf("due %v, next in %v; want nothing, and the rest of 200 ms", got, d.next)
	}
	if got := d.after(d.next, nil); !slices.Equal(got, []string{root + "scale/scale-1"}) {
		t.Errorf("due %v, want the weight", got)
	}
}

// TestBrokerHoldsTheTruth checks what readers rely on, whatever happens in whatever
// order, with messages failing at random: when a round was taken whole, the broker
// holds a state for each thing there is and for nothing else, no air off by a deadband
// and no end off by a minute.
func TestBrokerHoldsTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := newDecider()
		held := map[string]any{}
		ids := []string{"0612-1", "0612-2", "0612-3"}
		for range rapid.IntRange(1, 40).Draw(t, "rounds") {
			by := time.Duration(rapid.Int64Range(0, int64(2*time.Minute)).Draw(t, "by"))
			d.now, d.snap.At, d.snap.Mono = d.now+by, d.snap.At.Add(by), d.snap.Mono+by
			d.snap.Air = []view.Air{airView(d.snap.At, rapid.Float64Range(10, 35).Draw(t, "T"), 50)}
			d.snap.Batches, d.snap.Alarms = nil, nil
			for _, id := range ids {
				if rapid.Bool().Draw(t, "open "+id) {
					b := batchState(id, d.snap.At)
					b.EndsAt.Expected = b.EndsAt.Expected.Add(time.Duration(rapid.Int64Range(-100, 100).Draw(t, "move")) * time.Second)
					d.snap.Batches = append(d.snap.Batches, view.Batch{BatchState: b})
				}
				if rapid.Bool().Draw(t, "alarm "+id) {
					d.snap.Alarms = append(d.snap.Alarms, view.Alarm{Name: "batch-ending", Subject: id, State: "unacknowledged"})
				}
			}
			if rapid.IntRange(0, 9).Draw(t, "new connection") == 0 {
				clear(held) // an empty broker
				d.resend()
			}
			snap := d.snap
			whole := true
			for _, c := range d.round(&snap, d.now, nil) {
				if rapid.IntRange(0, 4).Draw(t, "fails") == 0 {
					whole = false
					continue
				}
				if c.value == nil {
					delete(held, c.topic)
				} else {
					held[c.topic] = c.value
				}
				c.acknowledged()
			}
			if whole {
				checkHeld(t, held, &snap)
			}
		}
	})
}

func checkHeld(t *rapid.T, held map[string]any, snap *view.Snapshot) {
	want := map[string]bool{root + "availability": true, root + "daemon": true, root + "air/bench": true, root + "scale/scale-1": true, root + "sensor/bench-air": true}
	for _, b := range snap.Batches {
		want[root+"batch/"+b.ID] = true
		got, ok := held[root+"batch/"+b.ID].(*view.BatchState)
		if !ok {
			t.Fatalf("batch %s is not held", b.ID)
		}
		if off := got.EndsAt.Expected.Sub(b.EndsAt.Expected).Abs(); off >= time.Minute {
			t.Fatalf("the end of %s is off by %v", b.ID, off)
		}
	}
	for _, a := range snap.Alarms {
		want[root+"alarm/"+a.Name+"/"+a.Subject] = true
	}
	topics := slices.Sorted(maps.Keys(held))
	if !slices.Equal(topics, slices.Sorted(maps.Keys(want))) {
		t.Fatalf("the broker holds %v, want %v", topics, slices.Sorted(maps.Keys(want)))
	}
	air := held[root+"air/bench"].(view.Air)
	if off := math.Abs(*air.TemperatureC - *snap.Air[0].TemperatureC); off >= airDeadbandC {
		t.Fatalf("the air is off by %v °C", off)
	}
}

// The keys of every payload are the contract's; a renamed field must not change them.
func TestPayloadsAreWrittenOut(t *testing.T) {
	at := time.Date(2026, 6, 12, 8, 30, 0, 0, time.FixedZone("", 7200))
	r := newFixture()
	snap := *r.bench.Snapshot()
	snap.At, snap.Started = at, at.Add(-time.Hour)
	snap.Air = []view.Air{airView(at, 21, 50)}
	snap.Air[0].DewPointC, snap.Air[0].VapourDensity = ptr(10.2), ptr(9.17)
	snap.Scales[0].Time = at
	snap.Scales = append(snap.Scales, view.Scale{ID: "scale-2", Quality: view.QualityBad, Why: "never heard"})
	snap.Sensors[0].Since, snap.Sensors[0].ReadAt = at, at
	b := batchState("0612-1", at)
	b.Seq = 41
	snap.Batches = []view.Batch{{BatchState: b}}
	snap.Alarms = []view.Alarm{{Time: at, Seq: 40, Name: "batch-ending", Subject: "0612-1", State: "acknowledged", Priority: "high", Since: at, Title: "Batch ends soon", Text: "0612-1 ends soon", Response: "Begin the next mix now.", By: "mqtt"}}
	s := newStates(topics.New("potlife", "bench-1"))
	var out string
	for _, c := range s.round(&snap, time.Hour, nil) {
		m, err := c.message()
		if err != nil {
			t.Fatal(err)
		}
		out += fmt.Sprintf("%s retained=%v qos=%d\n\t%s\n", m.topic, m.retained, m.qos, m.payload)
	}
	l := lightTopic{form: topics.FormJSON}
	shown := lightOf(words.Locale{}, &snap, "light-1", false, false)
	shown.Time, shown.Seq = at, 41
	for _, form := range []topics.Form{topics.FormJSON, topics.FormMeaning, topics.FormColour} {
		l.form = form
		out += fmt.Sprintf("%s\n\t%s\n", s.topics.Light("light-1", form), l.payload(shown))
	}
	l.form = topics.FormJSON
	out += fmt.Sprintf("will\n\t%s\n", l.payload(unknown(words.Locale{}, "light-1", at, noConnection)))
	for _, a := range []Answer{
		{verb: "load", Time: at, Ref: "r1", Outcome: outcomeDone, Status: 202, OnDisk: new(bool), Result: json.RawMessage(`{"id":"0612-1"}`)},
		{verb: "load", Time: at, Ref: "r1", Outcome: outcomeRefused, Status: 409, Detail: "Not now: it holds 0612-2"},
		{verb: "load", Time: at, Ref: "r1", Outcome: outcomeIgnored, Detail: "retained"},
	} {
		p, err := a.encode()
		if err != nil {
			t.Fatal(err)
		}
		out += fmt.Sprintf("%s\n\t%s\n", s.topics.Done(a.verb), p)
	}
	golden(t, "payloads.golden", out)
}
