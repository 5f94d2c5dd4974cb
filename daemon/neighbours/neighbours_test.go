package neighbours

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// fixture is a store on a clock that the test turns. The other bench has a wall clock of its
// own, which may differ.
type fixture struct {
	*Store
	wall  time.Time
	mono  time.Duration
	apart time.Duration // the other's wall clock less ours
}

func newFixture(benches ...string) *fixture {
	f := &fixture{wall: noon, mono: time.Hour}
	f.Store = New(benches, func() (time.Time, time.Duration) { return f.wall, f.mono })
	f.Contact(true)
	return f
}

func (f *fixture) turn(d time.Duration) { f.wall, f.mono = f.wall.Add(d), f.mono+d }

func (f *fixture) light(meaning light.Meaning, press string) []byte {
	now := f.wall.Add(f.apart)
	return fmt.Appendf(nil, `{"time":%q,"valid_until":%q,"seq":3,"meaning":%q,"colour":"x","flashing":false,"reason":"because","press":%q,"batch":"0612-1","new_in_some_version":{}}`,
		now.Format(time.RFC3339Nano), now.Add(90*time.Second).Format(time.RFC3339Nano), meaning, press)
}

func (f *fixture) batch(id, press string) []byte {
	now := f.wall.Add(f.apart)
	b, err := json.Marshal(view.BatchState{
		Time: now, ID: id, Ink: "dial-satin", Press: &press, Zone: "hall", State: lifecycle.Open, Quality: view.QualityGood,
		EndsAt: &view.Ends{Expected: now.Add(3 * time.Hour), Low: now.Add(2 * time.Hour), High: now.Add(4 * time.Hour)},
	})
	if err != nil {
		panic(err)
	}
	return b
}

func (f *fixture) press(t testing.TB, id string) Press {
	t.Helper()
	for _, b := range f.Benches() {
		for _, p := range b.Presses {
			if p.ID == id {
				return p
			}
		}
	}
	t.Fatalf("no press %s: %+v", id, f.Benches())
	return Press{}
}

// unknown checks that a press is not known, with its age, nor what is left of any batch.
func (f *fixture) unknown(t testing.TB, id, why string, age time.Duration) {
	t.Helper()
	f.unknownPress(t, id, why, age)
	for _, x := range f.Benches()[0].Batches {
		if x.EndsAt != nil || x.Quality != view.QualityBad || x.AsOf == nil {
			t.Errorf("an old batch looks fresh: %+v", x)
		}
	}
}

// unknownPress checks it of a press alone.
func (f *fixture) unknownPress(t testing.TB, id, why string, age time.Duration) {
	t.Helper()
	p := f.press(t, id)
	if p.Meaning != light.Unknown || !p.Flashing || p.Reason != why || p.Was != light.InOrder {
		t.Errorf("%+v; want unknown, since %s", p, why)
	}
	if p.AsOf == nil || f.wall.Sub(*p.AsOf) != age {
		t.Errorf("as of %v, want %v before %v", p.AsOf, age, f.wall)
	}
}

func TestLiveLightAndBatch(t *testing.T) {
	for _, apart := range []time.Duration{0, -300 * 24 * time.Hour, 5 * time.Hour} { // a bench whose clock is not set
		f := newFixture("bench-2", "bench-3")
		f.apart = apart
		if all := f.Benches(); len(all) != 2 || all[0].Contact != Waiting || all[0].Presses == nil || all[0].HeardAt != nil {
			t.Fatalf("at first: %+v", all)
		}
		f.Available("bench-2", true, true)
		f.Light("bench-2", "light-1", f.light(light.InOrder, "press-1"), false)
		f.Batch("bench-2", "0612-1", f.batch("0612-1", "press-1"), false)
		f.turn(time.Minute)
		p, b := f.press(t, "press-1"), f.Benches()[0]
		if p.Meaning != light.InOrder || p.Flashing || p.Reason != "because" || p.Batch != "0612-1" || p.AsOf != nil {
			t.Errorf("press %+v", p)
		}
		if b.Contact != Online || b.HeardAt == nil || !b.HeardAt.Equal(noon) || len(b.Batches) != 1 {
			t.Fatalf("bench %+v", b)
		}
		if x := b.Batches[0]; x.EndsAt == nil || !x.EndsAt.Low.Equal(noon.Add(2*time.Hour)) || x.Press != "press-1" || x.Ink != "dial-satin" || x.AsOf != nil {
			t.Errorf("with a clock %v apart the batch is %+v", apart, x)
		}
		f.wall = f.wall.Add(time.Hour) // our own clock is set: the remaining time is the same
		if x := f.Benches()[0].Batches[0]; !x.EndsAt.Low.Equal(noon.Add(3 * time.Hour)) {
			t.Errorf("after a step of our clock it ends at %v", x.EndsAt.Low)
		}
		f.Batch("bench-2", "0612-1", nil, false)
		f.Light("bench-2", "light-1", nil, false)
		if b := f.Benches()[0]; len(b.Batches)+len(b.Presses) != 0 {
			t.Errorf("what has ended is still there: %+v", b)
		}
	}
}

func TestOldStatesAreUnknown(t *testing.T) {
	said := func(t *testing.T, retained bool) *fixture {
		f := newFixture("bench-2")
		f.Available("bench-2", true, true)
		f.Light("bench-2", "light-1", f.light(light.InOrder, "press-1"), retained)
		f.Batch("bench-2", "0612-1", f.batch("0612-1", "press-1"), retained)
		return f
	}
	t.Run("a retained message", func(t *testing.T) {
		f := said(t, true)
		f.turn(20 * time.Second)
		f.unknown(t, "press-1", whySilent, 20*time.Second)
		f.Alive("bench-2")
		f.unknown(t, "press-1", whyOld, 20*time.Second)
	})
	t.Run("retained, from a clock ahead of ours", func(t *testing.T) {
		f := newFixture("bench-2")
		f.apart = time.Hour
		f.Light("bench-2", "light-1", f.light(light.InOrder, "press-1"), true)
		f.unknown(t, "press-1", whySilent, 0)
	})
	t.Run("retained does not replace live", func(t *testing.T) {
		f := said(t, false)
		f.Light("bench-2", "light-1", f.light(light.DoNotPrint, "press-1"), true)
		if p := f.press(t, "press-1"); p.Meaning != light.InOrder {
			t.Errorf("%+v", p)
		}
	})
	t.Run("no longer valid", func(t *testing.T) {
		f := said(t, false)
		f.turn(80 * time.Second)
		f.Alive("bench-2")
		f.turn(11 * time.Second)
		if p := f.press(t, "press-1"); p.Meaning != light.Unknown || p.Reason != whyOld {
			t.Errorf("%+v", p)
		}
		if b := f.Benches()[0]; b.Contact != Online || b.Batches[0].EndsAt == nil {
			t.Errorf("a batch is sent less often than a light: %+v", b)
		}
		f.turn(80 * time.Second)
		f.Alive("bench-2")
		f.unknown(t, "press-1", whyOld, 171*time.Second)
	})
	t.Run("silent", func(t *testing.T) {
		f := said(t, false)
		f.turn(91 * time.Second)
		f.unknown(t, "press-1", whySilent, 91*time.Second)
	})
	t.Run("offline, and back", func(t *testing.T) {
		f := said(t, false)
		f.turn(5 * time.Second)
		f.Available("bench-2", false, false)
		f.unknown(t, "press-1", whyOffline, 5*time.Second)
		f.Available("bench-2", true, false) // what it said before is not said again by that
		f.unknown(t, "press-1", whyOld, 5*time.Second)
		f.Light("bench-2", "light-1", f.light(light.Soon, "press-1"), false)
		if p := f.press(t, "press-1"); p.Meaning != light.Soon {
			t.Errorf("%+v", p)
		}
	})
	t.Run("killed: the wills come in any order", func(t *testing.T) {
		for _, first := range []bool{true, false} {
			f := said(t, false)
			f.turn(5 * time.Second)
			if first {
				f.Available("bench-2", false, false)
			}
			will := fmt.Appendf(nil, `{"time":%q,"valid_until":%q,"meaning":"unknown","reason":"no connection to potlifed"}`, f.wall.Format(time.RFC3339), f.wall.Format(time.RFC3339))
			f.Light("bench-2", "light-1", will, false)
			if !first {
				f.unknownPress(t, "press-1", "no connection to potlifed", 5*time.Second)
				f.Available("bench-2", false, false)
			}
			f.unknown(t, "press-1", whyOffline, 5*time.Second)
			f.Light("bench-2", "light-1", will, true) // and retained, after a loss of the broker
			f.unknown(t, "press-1", whyOffline, 5*time.Second)
			if c := f.Benches()[0].Contact; c != Offline {
				t.Errorf("by its lights' wills it is %s", c)
			}
			f.Available("bench-2", true, false)
			f.Light("bench-2", "light-1", f.light(light.InOrder, "press-1"), false)
			if p := f.press(t, "press-1"); p.Meaning != light.InOrder {
				t.Errorf("back: %+v", p)
			}
		}
	})
	t.Run("the broker is lost", func(t *testing.T) {
		f := said(t, false)
		f.turn(time.Second)
		f.Contact(false)
		f.unknown(t, "press-1", whyNoBroker, time.Second)
		f.Contact(true)
		if p := f.press(t, "press-1"); p.Meaning != light.InOrder {
			t.Errorf("back within its time: %+v", p)
		}
	})
}

func TestSeveralLightsOfOnePress(t *testing.T) {
	f := newFixture("bench-2")
	f.Light("bench-2", "a", f.light(light.Soon, "press-1"), false)
	f.Light("bench-2", "b", f.light(light.InOrder, "press-1"), false)
	f.Light("bench-2", "c", f.light(light.DoNotPrint, "press-1"), true) // of another day
	f.Batch("bench-2", "0612-2", f.batch("0612-2", "press-2"), false)
	if p := f.press(t, "press-1"); p.Meaning != light.Soon {
		t.Errorf("%+v", p)
	}
	if p := f.press(t, "press-2"); p.Meaning != light.Unknown || p.Reason != whyNoLight || p.Batch != "0612-2" {
		t.Errorf("a press that only a batch names: %+v", p)
	}
}

func TestStatesAreBounded(t *testing.T) {
	f := newFixture("bench-2")
	for i := range 500 {
		f.turn(time.Millisecond)
		id := fmt.Sprintf("0612-%d", i)
		f.Light("bench-2", id, f.light(light.InOrder, id), false)
		f.Batch("bench-2", id, f.batch(id, id), false)
		f.Batch("bench-9", id, f.batch(id, id), false)
		f.Batch("bench-2", "a/b", f.batch("a/b", id), false)
	}
	b := f.Benches()
	if len(b) != 1 || len(b[0].Batches) != maxBatches || b[0].Batches[len(b[0].Batches)-1].ID != "0612-499" {
		t.Errorf("%d benches, %d batches", len(b), len(b[0].Batches))
	}
	if n := len(f.benches[0].lights); n != maxLights {
		t.Errorf("%d lights", n)
	}
	f.Light("bench-2", "big", append(f.light(light.InOrder, "press-1"), strings.Repeat(" ", maxPayload)...), false)
	if f.benches[0].lights["big"] != nil {
		t.Error("a payload beyond its bound was taken")
	}
}

// TestOnlyLiveStatesAreTrusted: whatever messages come in whatever order, a state that is shown
// as known was received live, is recent enough, came since its bench was last offline, and over
// a connection that is open; and it is the newest.
func TestOnlyLiveStatesAreTrusted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newFixture("bench-2")
		var lastLive, lastBatch, spoke time.Duration
		var said light.Meaning
		up, online := true, true
		for range rapid.IntRange(1, 60).Draw(t, "acts") {
			retained := rapid.Bool().Draw(t, "retained")
			switch rapid.IntRange(0, 6).Draw(t, "act") {
			case 0:
				m := rapid.SampledFrom(light.Meanings()).Draw(t, "meaning")
				f.Light("bench-2", "light-1", f.light(m, "press-1"), retained)
				if !retained {
					lastLive, spoke, said = f.mono, f.mono, m
				}
			case 1:
				f.Batch("bench-2", "0612-1", f.batch("0612-1", "press-1"), retained)
				if !retained {
					lastBatch, spoke = f.mono, f.mono
				}
			case 2:
				online = rapid.Bool().Draw(t, "online")
				f.Available("bench-2", online, retained)
				if !online {
					lastLive, lastBatch = 0, 0
				} else if !retained {
					spoke = f.mono
				}
			case 3:
				up = rapid.Bool().Draw(t, "broker")
				f.Contact(up)
			case 4:
				f.Alive("bench-2")
				spoke, online = f.mono, true
			default:
				f.turn(time.Duration(rapid.IntRange(1, 100).Draw(t, "s")) * time.Second)
			}
			may := func(heard, within time.Duration) bool {
				return up && online && heard > 0 && f.mono-heard <= within && f.mono-spoke <= silentAfter
			}
			b := f.Benches()[0]
			for _, p := range b.Presses {
				if p.AsOf != nil && p.AsOf.After(f.wall) {
					t.Fatalf("said in the future: %+v", p)
				}
				if p.Was == "" && p.Reason != whyNoLight && (!may(lastLive, maxLightFor) || p.Meaning != said) {
					t.Fatalf("looks fresh: %+v", p)
				}
				if p.Was != "" && (p.Meaning != light.Unknown || !p.Flashing) {
					t.Fatalf("old and not unknown: %+v", p)
				}
			}
			for _, x := range b.Batches {
				if x.EndsAt != nil && !may(lastBatch, batchFor) {
					t.Fatalf("looks fresh: %+v", x)
				}
			}
		}
	})
}

// FuzzPayloads: any payload gives bounded JSON with known words only.
func FuzzPayloads(f *testing.F) {
	sample := newFixture("bench-2")
	f.Add(sample.light(light.InOrder, "press-1"), sample.batch("0612-1", "press-1"))
	f.Add([]byte(`{"meaning":"green","press":"P"}`), []byte(`{"id":"0612-1","state":"open","ends_at":{"low":"0001-01-01T00:00:00Z","expected":"9999-12-31T00:00:00Z","high":"9999-12-31T00:00:00Z"}}`))
	f.Add([]byte(`{"time":"9999-12-31T23:59:59Z","valid_until":"0001-01-01T00:00:00Z"}`), []byte("\xff{"))
	f.Add([]byte(``), []byte(`null`))
	f.Fuzz(func(t *testing.T, lamp, batch []byte) {
		for _, retained := range []bool{false, true} {
			r := newFixture("bench-2")
			r.Light("bench-2", "light-1", lamp, retained)
			r.Batch("bench-2", "0612-1", batch, retained)
			for _, ahead := range []time.Duration{0, time.Hour} {
				r.turn(ahead)
				b := r.Benches()[0]
				out, err := json.Marshal(b)
				if err != nil || len(out) > 4000 {
					t.Fatalf("%d bytes, %v: %s", len(out), err, out)
				}
				for _, p := range b.Presses {
					if !idShape.MatchString(p.ID) || p.Meaning == light.InOrder && (retained || ahead > 0) {
						t.Errorf("%+v", p)
					}
				}
			}
		}
	})
}
