package bench

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// alarmWorld is a shop with what a test does to it, and what it has seen of alarms.
type alarmWorld struct {
	*shop
	publishing Publishing
	lamp       light.Report
	// since is when a cause was last seen to begin or end, by the test's own reckoning;
	// what differs from it is the time that it stood the other way.
	causes map[record.AlarmKey]bool
	since  map[record.AlarmKey]time.Duration
	turned map[record.AlarmKey]time.Time // when an alarm was last raised or returned
	heard  uint64                        // events that were looked at
}

func newAlarmWorld(t testing.TB, dir string, c *handClock) *alarmWorld {
	w := &alarmWorld{shop: openShop(t, dir, c)}
	w.b.publishing = func() Publishing { return w.publishing }
	w.forget()
	return w
}

// forget: after a start delays begin again.
func (w *alarmWorld) forget() {
	w.causes, w.since, w.turned = map[record.AlarmKey]bool{}, map[record.AlarmKey]time.Duration{}, map[record.AlarmKey]time.Time{}
}

// step lets one second go by and checks what came of it.
func (w *alarmWorld) step(rt *rapid.T, r rooms) {
	w.goes(time.Second, r)
	w.checkEvents(rt)
	w.checkStates(rt)
	w.checkLights(rt)
}

// checkEvents: no alarm turns faster than its delays allow. What a person or the loss
// of a sensor silences begins again afterwards.
func (w *alarmWorld) checkEvents(rt *rapid.T) {
	events, err := w.journal.Events(w.ctx, w.heard, 1000)
	if err != nil {
		rt.Fatal(err)
	}
	for _, e := range events {
		w.heard = e.Seq
		var about struct {
			Time           time.Time
			Alarm, Subject string
			Alarms         json.RawMessage
		}
		if err := json.Unmarshal(e.JSON, &about); err != nil {
			rt.Fatal(err)
		}
		key := record.AlarmKey{Name: about.Alarm, Subject: about.Subject}
		d, known := alarm.Find(about.Alarm)
		last, had := w.turned[key]
		switch record.Kind(e.Kind) {
		case record.KindAlarmRaised, record.KindAlarmReturned:
			least := d.Delays.On
			if record.Kind(e.Kind) == record.KindAlarmReturned {
				least = d.Delays.Off
			}
			if !known || had && about.Time.Sub(last) < least {
				rt.Fatalf("%s of %v came %v after it last turned; delays %+v", e.Kind, key, about.Time.Sub(last), d.Delays)
			}
			w.turned[key] = about.Time
		case record.KindAlarmShelved, record.KindAlarmUnshelved, record.KindAlarmSuppressed, record.KindAlarmUnsuppressed:
			delete(w.turned, key)
		case record.KindOutOfService, record.KindInService:
			maps.DeleteFunc(w.turned, func(k record.AlarmKey, _ time.Time) bool { return k.Subject == about.Subject })
		}
	}
}

// reckon says by the test's own means which causes stand. Those it leaves out it has no
// means to see.
func (w *alarmWorld) reckon() map[record.AlarmKey]bool {
	stands := map[record.AlarmKey]bool{
		{Name: alarm.BrokerAway, Subject: "bench-1"}:    w.publishing.Fault != "",
		{Name: alarm.OtherInstance, Subject: "bench-1"}: w.publishing.OtherInstance != "",
		{Name: alarm.ClockUnset, Subject: "bench-1"}:    !w.clock.is.Synced,
	}
	if n := w.publishing.Waiting; n >= alarm.MostWaiting || n <= alarm.MostWaiting/2 {
		stands[record.AlarmKey{Name: alarm.QueueLong, Subject: "bench-1"}] = n >= alarm.MostWaiting
	}
	if owes := w.clock.is.Mono - w.lamp.UnansweredSince; w.lamp.Acknowledged && (!w.lamp.Unanswered || owes >= 10*time.Second) {
		stands[record.AlarmKey{Name: alarm.LightSilent, Subject: "light-2"}] = w.lamp.Unanswered
	}
	for _, b := range w.b.Snapshot().Batches {
		if b.Risk == nil {
			continue
		}
		for name, limit := range map[string]float64{alarm.BatchRisk: 0.25, alarm.BatchDead: 0.5} {
			if *b.Risk >= limit || *b.Risk < 0.89*limit { // below it the dead-band has its say
				stands[record.AlarmKey{Name: name, Subject: b.ID}] = *b.Risk >= limit
			}
		}
		if left := b.RemainingS.Low; left < 44*60 || left > 52*60 {
			stands[record.AlarmKey{Name: alarm.BatchEnding, Subject: b.ID}] = left < 44*60
		}
	}
	for _, v := range w.b.Snapshot().Sensors {
		name := alarm.SensorStale
		if v.Scale {
			name = alarm.ScaleSilent
		}
		stands[record.AlarmKey{Name: name, Subject: v.ID}] = v.Condition != "up"
	}
	return stands
}

// checkStates: no cause is lost, and no alarm stays after its cause is gone and
// somebody has acknowledged it.
func (w *alarmWorld) checkStates(rt *rapid.T) {
	now, stands := w.clock.is.Mono, w.reckon()
	early := w.b.clock.uptime() < settlingFor+2*time.Second
	for key := range w.causes {
		if _, seen := stands[key]; !seen {
			delete(w.causes, key)
		}
	}
	for key, is := range stands {
		if was, seen := w.causes[key]; !seen || was != is || early {
			w.causes[key], w.since[key] = is, now
		}
		d, _ := alarm.Find(key.Name)
		lasted, state := now-w.since[key], alarm.Normal
		if a, there := w.alarm(key.Name, key.Subject); there {
			state = alarm.State(a.State)
		}
		const slack = 2 * time.Second // what was reckoned is of the snapshot after the tick
		switch {
		case state == alarm.Suppressed:
			rt.Fatalf("%v is suppressed: only what needs the air may be", key)
		case is && lasted > d.Delays.On+slack && !state.Active() && !state.Silenced():
			rt.Fatalf("the cause of %v has stood for %v, and it is %s", key, lasted, state)
		case !is && lasted > d.Delays.Off+slack && state.Active():
			rt.Fatalf("the cause of %v has been gone for %v, and it is %s", key, lasted, state)
		}
	}
	for key, row := range w.b.state.Alarms {
		d, known := alarm.Find(key.Name)
		switch {
		case !known || row.State == alarm.Normal || row.Priority == "" || row.Text == "" && row.State != alarm.Shelved:
			rt.Fatalf("alarm %v: %+v", key, row)
		case row.State == alarm.Suppressed && !d.NeedsAir:
			rt.Fatalf("%v is suppressed", key)
		case !row.Until.IsZero() && row.Until.Before(w.b.clock.now().Add(-2*time.Second)):
			rt.Fatalf("%v is %s until %v, and it is %v", key, row.State, row.Until, w.b.clock.now())
		}
	}
}

// checkLights: each light is the table's function of what the bench itself shows.
// The table is written here a second time, bottom row first.
func (w *alarmWorld) checkLights(rt *rapid.T) {
	snap := w.b.Snapshot()
	meanings, flashing := map[string]light.Meaning{}, map[string]bool{}
	for _, p := range snap.Presses {
		m, on := light.Empty, w.b.state.Presses[p.ID]
		starting := p.Light == light.Unknown && p.Cause == light.JustStarted
		for _, b := range snap.Batches {
			if b.For == p.ID && b.Press == nil && (b.State != lifecycle.Mixing || p.Batch == nil) {
				m = light.Act
			}
		}
		for _, b := range snap.Batches {
			if p.Batch == nil || b.ID != *p.Batch {
				continue
			}
			if m != light.Act {
				m = light.InOrder
				if b.Quality == view.QualityUncertain || b.EndsAt.Low.Sub(snap.At) <= 45*time.Minute {
					m = light.Soon
				}
			}
			mix := w.b.state.Batches[b.ID].Mix
			if b.Quality == view.QualityBad {
				m = light.Unknown
			}
			if *b.Risk >= 0.25 || b.State == lifecycle.Resting || mix.FaultOpen() {
				m = light.DoNotPrint
			}
		}
		if on.WentOff != "" {
			m = light.DoNotPrint
		}
		if starting && w.b.clock.uptime() < settlingFor && m != light.DoNotPrint {
			m = light.Unknown
		}
		if w.publishing.OtherInstance != "" { // lamps show unknown then
			m = light.Unknown
		}
		meanings[p.ID] = m
		flashing[p.ID] = m == light.Unknown
		for _, a := range snap.Alarms {
			flashing[p.ID] = flashing[p.ID] || a.State == "unacknowledged" && (a.Subject == p.ID || p.Batch != nil && a.Subject == *p.Batch)
		}
	}
	presses := map[string][]string{"light-1": {"press-1"}, "light-2": {"press-1", "press-2"}}
	for _, l := range snap.Lights {
		worst, flashes := light.Empty, false
		for _, m := range slices.Backward(light.Meanings()) {
			for _, p := range presses[l.ID] {
				if meanings[p] == m {
					worst = m
				}
			}
		}
		for _, p := range presses[l.ID] {
			flashes = flashes || meanings[p] == worst && flashing[p]
		}
		if l.Meaning != worst || l.Flashing != flashes || l.Colour != worst.Colour() {
			rt.Fatalf("light %s is %s, flashing %v (%s); by the table %s, flashing %v", l.ID, l.Meaning, l.Flashing, l.Reason, worst, flashes)
		}
	}
}

// TestAlarmsUnderAnyInput lets instruments, broker, clock and people do as they like,
// through restarts. See the three checks.
func TestAlarmsUnderAnyInput(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		dir, c := t.TempDir(), newClock()
		w := newAlarmWorld(t, dir, c)
		defer func() { w.crash() }()
		r := both(mild)
		pass := func(rt *rapid.T, seconds int) {
			for range seconds {
				w.step(rt, r)
			}
		}
		some := func(rt *rapid.T) record.AlarmKey {
			keys := append(slices.SortedFunc(maps.Keys(w.b.state.Alarms), compareKeys), record.AlarmKey{Name: "broker", Subject: "bench-1"})
			return rapid.SampledFrom(keys).Draw(rt, "alarm")
		}
		batch := func(rt *rapid.T) string {
			return rapid.SampledFrom(append(slices.Sorted(maps.Keys(w.b.state.Batches)), "none")).Draw(rt, "batch")
		}
		device := func(rt *rapid.T) string {
			return rapid.SampledFrom([]string{"bench-air", "hall-air", "scale-1"}).Draw(rt, "device")
		}
		until := func(rt *rapid.T) time.Time {
			return w.b.clock.now().Add(time.Duration(rapid.IntRange(1, 900).Draw(rt, "for")) * time.Second)
		}
		pass(rt, 15)
		rt.Repeat(map[string]func(*rapid.T){
			"time": func(rt *rapid.T) { pass(rt, rapid.SampledFrom([]int{1, 7, 30, 70, 330}).Draw(rt, "s")) },
			"air": func(rt *rapid.T) {
				for _, sensor := range []string{"bench-air", "hall-air"} {
					r = maps.Clone(r)
					a := air.State{TemperatureC: rapid.SampledFrom([]float64{9, 20, 34.8, 36}).Draw(rt, "t"), HumidityPct: rapid.SampledFrom([]float64{40, 60, 84, 90}).Draw(rt, "rh")}
					if r[sensor] = &a; rapid.IntRange(0, 3).Draw(rt, "silent") == 0 {
						delete(r, sensor)
					}
				}
				pass(rt, 10)
			},
			"publishing": func(rt *rapid.T) {
				w.publishing = Publishing{
					Fault:   rapid.SampledFrom([]string{"", "refused"}).Draw(rt, "away"),
					Waiting: rapid.SampledFrom([]int{0, 700, 1500}).Draw(rt, "waiting"), OtherInstance: rapid.SampledFrom([]string{"", "", "twin"}).Draw(rt, "other"),
				}
				pass(rt, rapid.IntRange(1, 20).Draw(rt, "s"))
			},
			"scale": func(rt *rapid.T) {
				w.enter(scaleLink{scale: "scale-1", up: rapid.Bool().Draw(rt, "up"), detail: "unplugged"})
				w.weighs(0, 200*time.Millisecond)
				w.clock.turn(800 * time.Millisecond)
				pass(rt, 1)
			},
			"lamp": func(rt *rapid.T) {
				w.hears(light.Report{
					Acknowledged: rapid.IntRange(0, 3).Draw(rt, "told") > 0, Unanswered: rapid.Bool().Draw(rt, "owing"),
					UnansweredSince: w.clock.is.Mono - time.Duration(rapid.IntRange(0, 15).Draw(rt, "s"))*time.Second,
					Says:            rapid.SampledFrom([]string{"", "green"}).Draw(rt, "says"),
				})
				pass(rt, 1)
			},
			"clock": func(rt *rapid.T) { w.clock.is.Synced = !w.clock.is.Synced; pass(rt, 3) },
			"record": func(rt *rapid.T) {
				age := time.Duration(rapid.IntRange(0, 600).Draw(rt, "minutes")) * time.Minute
				hardener := rapid.SampledFrom([]float64{15, 15, 15, 20}).Draw(rt, "hardener")
				w.ask(request.RecordMix{Ink: "dial-satin", MixedAt: w.b.clock.now().Add(-age), Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: hardener}}})
				pass(rt, 1)
			},
			"load": func(rt *rapid.T) {
				w.ask(request.LoadBatch{Batch: batch(rt), Press: rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press"), Replace: true})
				pass(rt, 1)
			},
			"good": func(rt *rapid.T) { w.ask(request.GoodBatch{Batch: batch(rt)}); pass(rt, 1) },
			"close": func(rt *rapid.T) {
				w.ask(request.CloseBatch{Batch: batch(rt), Outcome: rapid.SampledFrom([]lifecycle.Outcome{lifecycle.UsedUp, lifecycle.WentOff}).Draw(rt, "outcome")})
				pass(rt, 1)
			},
			"acknowledge": func(rt *rapid.T) {
				key := some(rt)
				w.asks(request.AcknowledgeAlarm{Alarm: key.Name, Subject: key.Subject})
				pass(rt, 1)
			},
			"shelve": func(rt *rapid.T) {
				key := some(rt)
				w.asks(request.ShelveAlarm{Alarm: key.Name, Subject: key.Subject, Until: until(rt)})
				pass(rt, 1)
			},
			"unshelve": func(rt *rapid.T) {
				key := some(rt)
				w.asks(request.UnshelveAlarm{Alarm: key.Name, Subject: key.Subject})
				pass(rt, 1)
			},
			"maintenance": func(rt *rapid.T) {
				w.asks(request.TakeOutOfService{Sensor: device(rt), Until: until(rt), Reason: "cleaning"})
				pass(rt, 1)
			},
			"in service": func(rt *rapid.T) { w.asks(request.PutInService{Sensor: device(rt)}); pass(rt, 1) },
			"restart": func(rt *rapid.T) {
				before := jsonOf(t, w.b.write.durable)
				w.crash()
				if got := loadState(t, dir); got != before {
					rt.Fatalf("the journal gives another state than was live:\n%s\n%s", before, got)
				}
				c.turn(time.Duration(rapid.IntRange(0, 300).Draw(rt, "off")) * time.Second)
				publishing, heard := w.publishing, w.heard
				w = newAlarmWorld(t, dir, c)
				w.publishing, w.heard = publishing, heard
				pass(rt, 1)
			},
		})
		w.comeToRest(rt)
	})
}

// hears lets the lamp of light-2 say how it stands.
func (w *alarmWorld) hears(word light.Report) {
	w.lamp = word
	w.enter(lightReport{"light-2", word})
}

// comeToRest takes every cause away, lets all delays pass and acknowledges: nothing is
// left then.
func (w *alarmWorld) comeToRest(rt *rapid.T) {
	w.hears(light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: w.clock.is.Mono})
	w.publishing, w.clock.is.Synced = Publishing{}, true
	for _, id := range slices.Sorted(maps.Keys(w.b.state.Batches)) {
		w.ask(request.CloseBatch{Batch: id, Outcome: "discarded"})
	}
	w.otherAir()
	for range 16 * 60 { // no shelf and no maintenance of this test is longer
		w.enter(scaleLink{scale: "scale-1", up: true})
		w.weighs(0, 100*time.Millisecond)
		w.clock.turn(900 * time.Millisecond)
		w.b.tick(w.b.clock.now())
		for id, a := range both(mild) {
			w.enter(airReading{sensor: id, air: *a, at: w.clock.is.Mono})
		}
	}
	for _, key := range slices.SortedFunc(maps.Keys(w.b.state.Alarms), compareKeys) {
		if row := w.b.state.Alarms[key]; row.State != alarm.Returned {
			rt.Fatalf("nothing is wrong any more, and %v is %s: %s", key, row.State, row.Text)
		}
		w.acknowledge(key.Name, key.Subject)
	}
	w.step(rt, both(mild))
	if n := len(w.b.Snapshot().Alarms); n > 0 {
		rt.Fatalf("%d alarms are left: %+v", n, w.b.Snapshot().Alarms)
	}
}
