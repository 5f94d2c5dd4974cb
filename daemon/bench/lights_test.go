package bench

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// usualMix is a mix in the ratio of dial-satin.
var usualMix = []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}}

// loadedShop has a fresh batch on press-1.
func loadedShop(t testing.TB, dir string, c *handClock) (s *shop, id string) {
	s = openShop(t, dir, c)
	s.pass(6*time.Second, both(mild))
	id = s.fresh()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	if l := s.light("light-1"); l.Meaning != light.InOrder || l.Flashing {
		t.Fatalf("a fresh batch on the press: %+v", l)
	}
	return s, id
}

// fresh records a mix that was made just now.
func (s *shop) fresh() string {
	return s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: usualMix}).ID
}

// sends asks for a change without waiting for its answer.
func (s *shop) sends(c request.Change) {
	s.enter(&waiter{request: request.Request{Change: c, By: "tester"}, answer: make(chan answer, 1)})
}

// A reading that nobody can rely on turns the light at once, in a snapshot of its own, although the
// journal is still writing something else.
func TestALightTurnsBeforeTheJournalHasWritten(t *testing.T) {
	s, _ := loadedShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.journal.slow = true
	s.sends(request.TestBatch{Batch: slices.Collect(maps.Keys(s.b.state.Batches))[0], Kind: "adhesion", Result: "pass"})
	if s.b.write.flight == nil {
		t.Fatal("the journal has nothing to write")
	}
	seen, stop := s.b.WatchLights()
	defer stop()
	others, stopOthers := s.b.Watch()
	defer stopOthers()
	s.clock.turn(time.Second)
	airReading{sensor: "bench-air", air: air.State{TemperatureC: 20, HumidityPct: 88}, at: s.clock.is.Mono}.enter(s.b, s.b.clock.now())
	s.b.tellLights(s.b.write.shown, s.b.clock.now())
	select {
	case <-seen:
	default:
		t.Error("no snapshot was made before the rows of all batches")
	}
	if len(others) != 0 {
		t.Error("pages were woken before the light was sent")
	}
	if l := s.light("light-1"); l.Meaning != light.Soon || l.Cause != light.AgeUncertain {
		t.Errorf("the light says %s (%s) in air that no sensor measures well", l.Meaning, l.Cause)
	}
}

// A sensor in doubt is named by the reason of the light, so that the press knows whom to ask; ink in air that no
// sensor measures well has no sensor to blame.
func TestALightNamesTheSensorInDoubt(t *testing.T) {
	s, _ := loadedShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.tell(request.VerifySensor{Sensor: "bench-air", HumidityPct: new(mild.HumidityPct + 20)})
	s.pass(time.Minute, both(mild))
	if l := s.light("light-1"); l.Cause != light.AgeUncertain || !strings.Contains(l.Reason, "sensor bench-air is in doubt") {
		t.Errorf("after a check that failed: %s, %s, %q", l.Meaning, l.Cause, l.Reason)
	}
	s.tell(request.VerifySensor{Sensor: "bench-air", HumidityPct: new(mild.HumidityPct)})
	s.pass(time.Minute, both(&air.State{TemperatureC: 20, HumidityPct: 88}))
	if l := s.light("light-1"); l.Cause != light.AgeUncertain || strings.Contains(l.Reason, "bench-air") {
		t.Errorf("in very humid air: %s, %s, %q", l.Meaning, l.Cause, l.Reason)
	}
}

// An alarm makes the light flash before its event is on disk, and the light goes on flashing until the
// event is on disk that somebody acknowledged it.
func TestAnAlarmFlashesBeforeItIsOnDisk(t *testing.T) {
	s, id := loadedShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.journal.slow = true
	seq := s.b.Snapshot().Seq
	s.b.decide(s.b.clock.now(), "bench", record.AlarmRaised{Name: alarm.BatchEnding, Subject: id, Priority: alarm.Medium})
	s.settle()
	if l := s.light("light-1"); !l.Flashing || l.Seq != seq {
		t.Errorf("an alarm was raised, and the light says %+v", l)
	}
	if n := len(s.b.Snapshot().Alarms); n != 0 {
		t.Errorf("%d alarms are shown before they are on disk", n)
	}
	s.journal.slow = false
	s.settle()
	s.journal.slow = true
	s.sends(request.AcknowledgeAlarm{Alarm: alarm.BatchEnding, Subject: id})
	if l := s.light("light-1"); !l.Flashing {
		t.Error("the light no longer flashes, and a crash would lose that somebody acknowledged the alarm")
	}
	s.journal.slow = false
	s.settle()
	if l := s.light("light-1"); l.Flashing {
		t.Error("somebody acknowledged the alarm, and the light still flashes")
	}
}

// What a person reports turns the light when it is on disk: a crash before that loses it, and nothing
// would turn the light again.
func TestAPersonsChangeTurnsTheLightOnceItIsOnDisk(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s, id := loadedShop(t, dir, c)
	s.journal.slow = true
	s.sends(request.CloseBatch{Batch: id, Outcome: "went-off"})
	if l := s.light("light-1"); l.Meaning != light.InOrder {
		t.Errorf("the light says %s of what a crash would lose", l.Meaning)
	}
	s.crash()
	s = openShop(t, dir, c)
	s.pass(6*time.Second, both(mild))
	if l := s.light("light-1"); l.Meaning != light.InOrder {
		t.Fatalf("after the crash the light says %+v", l)
	}
	s.must(request.CloseBatch{Batch: id, Outcome: "went-off"})
	if l := s.light("light-1"); l.Meaning != light.DoNotPrint {
		t.Errorf("it is on disk that the batch went off, and the light says %s", l.Meaning)
	}
	s.crash()
}

// lightWorld is a shop whose journal is slow when the test says so, with what the test knows of its
// lights.
type lightWorld struct {
	*shop
	dir  string
	room air.State
}

// TestNoLightIsTrustedMoreThanTheDiskJustifies: whatever people ask, the air does and the disk
// delays, no light says more than the state on disk and the conditions of the moment justify. A
// crash at any point loses nothing that made a light less trusted.
func TestNoLightIsTrustedMoreThanTheDiskJustifies(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		w := &lightWorld{dir: t.TempDir(), room: *mild}
		w.shop, _ = loadedShop(t, w.dir, newClock())
		defer func() { w.shop.crash() }()
		batch := func() string {
			return rapid.SampledFrom(append(slices.Sorted(maps.Keys(w.b.state.Batches)), "0612-99")).Draw(rt, "batch")
		}
		press := func() string { return rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press") }
		actions := map[string]func(*rapid.T){
			"slow": func(*rapid.T) { w.journal.slow = !w.journal.slow; w.settle() },
			"air": func(rt *rapid.T) {
				w.room = rapid.SampledFrom([]air.State{*mild, *humid, {TemperatureC: 20, HumidityPct: 88}, {TemperatureC: -30, HumidityPct: 50}, {TemperatureC: 38, HumidityPct: 70}}).Draw(rt, "air")
				w.read()
			},
			"time": func(rt *rapid.T) {
				w.goesOn(rapid.SampledFrom([]int{1, 2, 7}).Draw(rt, "times 10 s"), rapid.Bool().Draw(rt, "silent"))
			},
			"hours": func(*rapid.T) { w.hours() },
			"record": func(*rapid.T) {
				w.sends(request.RecordMix{Ink: "dial-satin", MixedAt: w.b.clock.now(), Components: usualMix})
			},
			"load":   func(*rapid.T) { w.sends(request.LoadBatch{Batch: batch(), Press: press(), Replace: true}) },
			"unload": func(*rapid.T) { w.sends(request.UnloadBatch{Batch: batch()}) },
			"good":   func(*rapid.T) { w.sends(request.GoodBatch{Batch: batch()}) },
			"off":    func(*rapid.T) { w.sends(request.CloseBatch{Batch: batch(), Outcome: "went-off"}) },
			"split": func(*rapid.T) {
				w.sends(request.SplitBatch{Batch: batch(), Grams: 20, To: request.Where{Press: press()}, Replace: true})
			},
			"print": func(*rapid.T) { w.sends(request.CountPrints{Press: press(), Add: new(uint64(40))}) },
			"acknowledge": func(*rapid.T) {
				for key := range w.b.state.Alarms {
					w.sends(request.AcknowledgeAlarm{Alarm: key.Name, Subject: key.Subject})
				}
			},
			"crash": func(rt *rapid.T) { w.crashes(rt) },
			"":      func(rt *rapid.T) { w.justified(rt) },
		}
		rt.Repeat(actions)
	})
}

// hours lets two hours go by on a disk that writes: the air of a minute at most is only in memory.
func (w *lightWorld) hours() {
	w.journal.slow = false
	w.clock.turn(2 * time.Hour)
	w.read()
	w.goesOn(7, false)
}

// goesOn lets so many times ten seconds go by, in which the sensors are read or silent.
func (w *lightWorld) goesOn(times int, silent bool) {
	for range times {
		w.clock.turn(10 * time.Second)
		if !silent {
			w.read()
		}
		w.b.tick(w.b.clock.now())
		w.settle()
	}
}

// read lets both sensors read the air, at moments between which a life is derived again: the light of a
// snapshot may be of a life that is a little older than the newest reading.
func (w *lightWorld) read() {
	for _, id := range []string{"bench-air", "hall-air"} {
		w.clock.turn(lookAhead)
		w.enter(airReading{sensor: id, air: w.room, at: w.clock.is.Mono})
	}
}

// justified fails where a light or a press is trusted more than the state on disk allows.
func (w *lightWorld) justified(rt *rapid.T) {
	if w.b.write.failing != nil {
		rt.Fatalf("the journal fails: %v", w.b.write.failing)
	}
	now, snap := w.b.clock.now(), w.b.Snapshot()
	signals := w.b.signals(w.b.write.durable, w.b.write.durable, now)
	for _, v := range snap.Presses {
		if trusts(v.Light, signals[v.ID].Meaning) {
			rt.Fatalf("%s says %s (%s), and what is on disk justifies %+v", v.ID, v.Light, v.Cause, signals[v.ID])
		}
	}
	for i, v := range w.b.lightViews(w.b.write.durable, signals, now) {
		if is := snap.Lights[i]; trusts(is.Meaning, v.Meaning) {
			rt.Fatalf("%s says %s (%s), and what is on disk justifies %s (%s)", v.ID, is.Meaning, is.Cause, v.Meaning, v.Cause)
		}
	}
}

// trusts reports whether a meaning says more for the ink than another.
func trusts(a, b light.Meaning) bool {
	return a != b && light.LessTrusted(light.Signal{Meaning: a}, light.Signal{Meaning: b}).Meaning == b
}

// crashes ends the shop as it is, and starts it again in the same air.
func (w *lightWorld) crashes(rt *rapid.T) {
	before := map[string]view.Press{}
	for _, v := range w.b.Snapshot().Presses {
		before[v.ID] = v
	}
	w.shop.crash()
	w.clock.turn(time.Second)
	w.shop = openShop(w.t, w.dir, w.clock)
	w.compare(rt, before)
	w.read()
	// A start has nothing to hold a sensor's first reading against, which the bench may have had in doubt.
	maps.DeleteFunc(before, func(_ string, was view.Press) bool { return was.Cause == light.FiguresUnknown })
	w.compare(rt, before)
}

// compare fails where a press is trusted more than before a crash. A crash loses up to a minute of the
// air, and with it as much of a risk or of a remaining life as that minute cost.
func (w *lightWorld) compare(rt *rapid.T, before map[string]view.Press) {
	for _, v := range w.b.Snapshot().Presses {
		was, known := before[v.ID]
		if ofAMinute := was.Cause == light.EndsSoon || (was.Cause == light.RiskTooHigh || was.Cause == light.AdhesionDoubtful) && v.Light != light.InOrder; known && !ofAMinute && trusts(v.Light, was.Light) {
			rt.Fatalf("%s says %s (%s) after a crash and %s (%s) before it", v.ID, v.Light, v.Cause, was.Light, was.Cause)
		}
	}
}
