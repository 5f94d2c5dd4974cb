package bench

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// TestAnyOrderOfRequests lets people ask for anything in any order, with weights and
// air that do as they like, restarts and a disk that fails now and then. Whatever was
// taken leaves a valid state, and the journal gives that state back to the bit.
func TestAnyOrderOfRequests(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		dir, c := t.TempDir(), newClock()
		s := openShop(t, dir, c)
		defer func() { s.crash() }()
		s.pass(6*time.Second, both(mild))
		weight, spent := 0.0, map[string]float64{}
		if rapid.Bool().Draw(rt, "in use") { // else hardly a mix is ever finished, or a jar looked at
			s.must(goodRecord(s.b.clock.now().Add(-time.Hour)))
			s.tell(request.StartJars{Ink: "dial-satin", Jars: fourJars(), MixedAt: new(s.b.clock.now().Add(-2 * time.Hour))})
		}
		someBatchOf := func(rt *rapid.T) string {
			ids := append(slices.Sorted(maps.Keys(s.b.state.Batches)), "0612-99")
			return rapid.SampledFrom(ids).Draw(rt, "batch")
		}
		someBatch := func() string { return someBatchOf(rt) }
		actions := map[string]func(*rapid.T){
			"pour": func(rt *rapid.T) {
				to := weight + rapid.Float64Range(-20, 70).Draw(rt, "by")
				s.pours(weight, to, time.Second)
				weight = to
			},
			"tare": func(*rapid.T) { weight = 0; s.weighs(0, time.Second) },
			"time": func(rt *rapid.T) {
				a := air.State{TemperatureC: rapid.Float64Range(5, 40).Draw(rt, "t"), HumidityPct: rapid.Float64Range(0, 100).Draw(rt, "rh")}
				r := both(&a)
				if rapid.Bool().Draw(rt, "silent") {
					r = rooms{}
				}
				s.pass(time.Duration(rapid.IntRange(1, 400).Draw(rt, "s"))*time.Second, r)
				s.weighs(weight, time.Second)
			},
			"mix": func(rt *rapid.T) {
				s.ask(request.StartMix{Ink: rapid.SampledFrom([]string{"dial-satin", "dial-flat", "gold"}).Draw(rt, "ink"), Press: "press-1"})
			},
			"confirm": func(rt *rapid.T) {
				id := someBatch()
				step := rapid.SampledFrom([]string{"cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner", "rest", "load"}).Draw(rt, "step")
				if b := s.b.state.Batches[id]; b != nil && rapid.Bool().Draw(rt, "right step") {
					step = string(b.Mix.Step)
				}
				s.ask(request.ConfirmStep{Batch: id, Step: step, Override: rapid.SampledFrom([]string{"", "", "known"}).Draw(rt, "override"), Can: rapid.SampledFrom([]string{"", "", "", "ink-1", "thinner-2"}).Draw(rt, "can")})
			},
			"correct": func(rt *rapid.T) {
				part := rapid.SampledFrom([]string{"", "ink", "hardener", "thinner"}).Draw(rt, "part")
				c := request.CorrectPour{Batch: someBatch(), Part: part, Undo: part == ""}
				switch b := s.b.state.Batches[c.Batch]; rapid.IntRange(0, 2).Draw(rt, "which") {
				case 1:
					c.NotTaken = true
				case 2:
					if b != nil && len(b.Mix.Pours) > 0 {
						c.Pour = new(rapid.SampledFrom(b.Mix.Pours).Draw(rt, "pour").Seq)
					}
				}
				s.ask(c)
			},
			"pour over": func(rt *rapid.T) {
				c := request.PourMixOver{Batch: someBatch(), Cup: rapid.SampledFrom([]string{"cup-90", "cup-130", "cup-130", "", "no-such-cup"}).Draw(rt, "cup")}
				c.Undo = c.Cup == ""
				if on := weighing(s.b.state, "scale-1"); on != nil && rapid.IntRange(0, 3).Draw(rt, "weighed") > 0 {
					c.Batch = on.ID
				}
				if rapid.Bool().Draw(rt, "known") {
					c.EmptyG = new(18.0)
				}
				s.ask(c)
				if b := s.b.state.Batches[c.Batch]; b != nil && b.Mix.Step == guide.PourOver && rapid.Bool().Draw(rt, "poured over") {
					s.weighs(0, 1500*time.Millisecond)
					weight = 18 + b.Mix.ContentG()*rapid.SampledFrom([]float64{1, 0.99, 0.9}).Draw(rt, "kept")
					s.putsDown(weight)
				}
			},
			"cup": func(*rapid.T) { // on an empty pan, so that it may be taken by itself
				s.weighs(0, 1500*time.Millisecond)
				s.putsDown(12)
				weight = 12
			},
			"stir": func(*rapid.T) { // for as long as it takes to count by itself
				s.weighs(0, time.Second)
				for range 10 {
					s.clock.turn(2500 * time.Millisecond)
					s.enter(weightReading{scale: "scale-1", reading: weigh.Reading{HasWeight: true, Stability: weigh.Stable}, at: s.clock.is.Mono})
				}
				s.putsDown(weight)
			},
			"change over": func(rt *rapid.T) {
				off := request.ComesOff{Batch: someBatch(), Outcome: rapid.SampledFrom([]string{"used-up", "discarded", "went-off", "not-known", request.Kept}).Draw(rt, "outcome")}
				s.ask(request.LoadBatch{Batch: someBatch(), Press: rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press"), ComesOff: &off})
			},
			"undo": func(rt *rapid.T) {
				if n := len(s.b.state.Undoables); n > 0 {
					d := s.b.state.Undoables[rapid.IntRange(0, n-1).Draw(rt, "doing")]
					if len(d.Batches) == 0 { // a test of a batch that is closed
						return
					}
					of := rapid.SampledFrom(slices.Sorted(maps.Keys(d.Batches))).Draw(rt, "of")
					if _, refusal := s.ask(request.Undo{Batch: of, Seq: d.Seq}); refusal == nil {
						for id := range d.Batches { // a top-up that is taken back leaves the younger one
							delete(spent, id)
						}
					}
				}
			},
			"split": func(rt *rapid.T) {
				s.ask(request.SplitBatch{
					Batch: someBatch(), Grams: rapid.Float64Range(1, 60).Draw(rt, "grams"),
					To: request.Where{Press: "press-2"}, Replace: rapid.Bool().Draw(rt, "replace"),
				})
			},
			"top up": func(*rapid.T) { s.ask(request.TopUpBatch{Batch: someBatch(), From: someBatch()}) },
			"take up": func(rt *rapid.T) {
				s.ask(request.TakeUp{Batch: someBatch(), Override: rapid.SampledFrom([]string{"", "", "spilled"}).Draw(rt, "override")})
			},
			"record": func(rt *rapid.T) {
				if rapid.Bool().Draw(rt, "right") {
					s.ask(goodRecord(s.b.clock.now().Add(-time.Duration(rapid.IntRange(0, 18000).Draw(rt, "ago")) * time.Second)))
					return
				}
				s.ask(request.RecordMix{
					Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-time.Duration(rapid.IntRange(-60, 36000).Draw(rt, "ago")) * time.Second),
					Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: rapid.Float64Range(-1, 30).Draw(rt, "g")}},
				})
			},
			"can": func(rt *rapid.T) {
				id := rapid.SampledFrom([]string{"ink-1", "thinner-2", "ink-3", "ink-9"}).Draw(rt, "can")
				s.asks(rapid.SampledFrom([]request.Change{
					request.MakeCan{Ink: "dial-satin", Lot: "A 17"}, request.MakeCan{Thinner: "thinner-s", UseBy: "2026-06-11"}, request.MakeCan{Ink: "gold"},
					request.OpenCan{Can: id}, request.StirCan{Can: id}, request.EmptyCan{Can: id}, request.EmptyCan{Can: id, Undo: true},
				}).Draw(rt, "change"))
			},
			"weigh what is left": func(*rapid.T) { s.ask(request.CloseBatch{Batch: someBatch(), Outcome: "used-up", Weigh: true}) },
			"load": func(rt *rapid.T) {
				s.ask(request.LoadBatch{Batch: someBatch(), Press: rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press"), Replace: rapid.Bool().Draw(rt, "replace")})
			},
			"count": func(rt *rapid.T) {
				press, n := rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press"), rapid.Int64Range(-2, 4).Draw(rt, "n")
				s.asks(rapid.SampledFrom([]request.Change{
					request.CountPrints{Press: press, Add: new(uint64(max(n, 0)))}, request.CountPrints{Press: press, Total: new(uint64(max(100*n, 0)))},
					request.CountDefects{Press: press, Kind: "ghost", Add: &n},
				}).Draw(rt, "report"))
			},
			"unload":  func(*rapid.T) { s.ask(request.UnloadBatch{Batch: someBatch()}) },
			"good":    func(*rapid.T) { s.ask(request.GoodBatch{Batch: someBatch()}) },
			"abandon": func(*rapid.T) { s.ask(request.AbandonMix{Batch: someBatch()}) },
			"close": func(rt *rapid.T) {
				s.ask(request.CloseBatch{Batch: someBatch(), Outcome: rapid.SampledFrom([]lifecycle.Outcome{"used-up", "discarded", "went-off", "not-known", "lost"}).Draw(rt, "outcome")})
			},
			"alarm": func(rt *rapid.T) {
				keys := append(slices.SortedFunc(maps.Keys(s.b.state.Alarms), compareKeys), record.AlarmKey{Name: "clock", Subject: "bench-1"})
				key := rapid.SampledFrom(keys).Draw(rt, "alarm")
				until := s.b.clock.now().Add(time.Duration(rapid.IntRange(-10, 900).Draw(rt, "for")) * time.Second)
				s.asks(rapid.SampledFrom([]request.Change{
					request.AcknowledgeAlarm{Alarm: key.Name, Subject: key.Subject}, request.UnshelveAlarm{Alarm: key.Name, Subject: key.Subject},
					request.ShelveAlarm{Alarm: key.Name, Subject: key.Subject, Until: until, Reason: "r"},
					request.TakeOutOfService{Sensor: "bench-air", Until: until, Reason: "r"}, request.PutInService{Sensor: "bench-air"}, request.VerifySensor{Sensor: "bench-air", HumidityPct: new(75.3)},
				}).Draw(rt, "change"))
			},
			"disk": func(*rapid.T) {
				if s.journal.full == nil {
					s.journal.full = errFull
				} else {
					s.journal.full = nil
				}
			},
			"clock": func(rt *rapid.T) {
				c.is.Wall = c.is.Wall.Add(time.Duration(rapid.IntRange(-5000, 5000).Draw(rt, "step")) * time.Second)
				c.is.Synced = rapid.Bool().Draw(rt, "set")
				s.pass(time.Second, s.air)
			},
			"restart": func(rt *rapid.T) {
				s.crash()
				if rapid.Bool().Draw(rt, "reboot") {
					c.reboots(time.Duration(rapid.IntRange(0, 9000).Draw(rt, "off"))*time.Second, 0, rapid.Bool().Draw(rt, "set"))
				} else {
					c.turn(time.Duration(rapid.IntRange(0, 900).Draw(rt, "off")) * time.Second)
				}
				s, spent = openShop(t, dir, c), map[string]float64{}
			},
			"": func(rt *rapid.T) {
				checkState(rt, s, spent)
				checkRows(rt, s)
				checkJars(rt, s)
			},
		}
		maps.Copy(actions, inUse(func() *shop { return s }, someBatchOf))
		rt.Repeat(actions)

		s.journal.full = nil
		s.pass(70*time.Second, s.air) // what waited is written
		if s.b.write.failing != nil {
			rt.Fatalf("the journal still fails: %v", s.b.write.failing)
		}
		want := jsonOf(t, s.b.write.durable)
		state, err := s.journal.Load(s.ctx)
		if err != nil {
			rt.Fatal(err)
		}
		if got := jsonOf(t, state); got != want {
			rt.Fatalf("the journal gives another state than was live:\n%s\n%s", got, want)
		}
	})
}

// checkState holds for every state.
func checkState(rt *rapid.T, s *shop, spent map[string]float64) {
	state := s.b.state
	weighing := map[string]int{}
	for id, b := range state.Batches {
		if b.ID != id || b.Phase == lifecycle.Closed {
			rt.Fatalf("batch %s is kept under %s as %s", b.ID, id, b.Phase)
		}
		if (b.Ensemble == nil) != b.MixedAt.IsZero() {
			rt.Fatalf("batch %s: mixed at %v, and its life has begun: %v", id, b.MixedAt, b.Ensemble != nil)
		}
		checkComponents(rt, b)
		if b.Press != "" && state.Presses[b.Press].Batch != id {
			rt.Fatalf("batch %s says it is on %s, which holds %q", id, b.Press, state.Presses[b.Press].Batch)
		}
		if b.Phase == lifecycle.Mixing && !b.Aside() {
			weighing[b.Scale]++
		}
		if b.Ensemble == nil {
			delete(spent, id)
			continue
		}
		if d := state.Zones[b.Zone].Until.Sub(b.MixedAt) - b.Ensemble.Age(); d.Abs() > time.Millisecond {
			rt.Fatalf("batch %s: its age differs by %v from the time since it was mixed", id, d)
		}
		if now := b.Ensemble.Spent(); !(now >= spent[id]) || math.IsInf(now, 0) {
			rt.Fatalf("batch %s: spent went from %v to %v", id, spent[id], now)
		}
		if !b.Mix.Pan.Holds() || b.Mix.ByHand || b.Phase != lifecycle.Mixing {
			spent[id] = b.Ensemble.Spent()
		}
	}
	for scale, n := range weighing {
		if n > 1 {
			rt.Fatalf("%d mixes are weighed on %s at once", n, scale)
		}
	}
	for press, on := range state.Presses {
		if b, open := state.Batches[on.Batch]; on.Batch != "" && (!open || b.Press != press) {
			rt.Fatalf("%s holds batch %s, which does not know it", press, on.Batch)
		}
	}
	for _, l := range s.b.Snapshot().Lights {
		if l.Meaning == "in-order" {
			checkInOrder(rt, s, l)
		}
	}
	if b, err := json.Marshal(s.b.Snapshot()); err != nil {
		rt.Fatalf("the snapshot cannot be written out: %v (%.80s)", err, b)
	}
}

// checkInOrder: a light that says "in order" stands on a batch that is.
func checkInOrder(rt *rapid.T, s *shop, l view.Light) {
	for _, b := range s.b.Snapshot().Batches {
		if b.ID != l.Batch {
			continue
		}
		if b.State != lifecycle.Open || b.Quality != view.QualityGood || *b.Risk >= 0.25 || b.RemainingS.Low < (45*time.Minute).Seconds() {
			rt.Fatalf("light %s says in order over %s", l.ID, fmt.Sprintf("%+v", b.BatchState))
		}
		return
	}
	rt.Fatalf("light %s says in order over batch %q, which is not open", l.ID, l.Batch)
}

// checkComponents: whatever cans it came from, the parts add up to what is in the cup.
func checkComponents(rt *rapid.T, b *record.Batch) {
	var sum mix.Amounts
	for _, c := range b.Components() {
		sum = sum.Plus(c.Part, c.G)
	}
	for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		if want := b.Amounts().Of(part); math.Abs(sum.Of(part)-want) > 1e-6 {
			rt.Fatalf("batch %s: %v g of %s by cans, %v g in the cup", b.ID, sum.Of(part), part, want)
		}
	}
}
