package bench

import (
	"runtime"
	"slices"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

// tellLights derives the lights of a snapshot that is being made. Where that of a press has turned, a
// snapshot with the new lights and the rows of the last one goes out at once to those who send the
// lights: making the rows, and waking all who read them, takes longer than a lamp may wait. It returns nothing where nothing has changed that a light
// depends on.
func (b *Bench) tellLights(s record.State, now time.Time) (map[string]light.Signal, []view.Light) {
	if !b.dirty && !b.relight {
		return nil, nil
	}
	signals := b.signals(s, b.write.decided(b.state), now)
	lights := b.lightViews(s, signals, now)
	last := b.snap.Load()
	turned := func(p view.Press) bool {
		is, ok := signals[p.ID]
		return ok && (p.Light != is.Meaning || p.Flashing != is.Flashing || p.Cause != is.Cause)
	}
	if last == nil || slices.EqualFunc(last.Lights, lights, sameLight) && !slices.ContainsFunc(last.Presses, turned) {
		return signals, lights
	}
	next := *last
	next.At, next.Mono, next.Lights, next.Presses = now, b.clock.mono(), lights, slices.Clone(last.Presses)
	for i := range next.Presses {
		if signal, ok := signals[next.Presses[i].ID]; ok {
			b.showSignal(&next.Presses[i], signal)
		}
	}
	b.snap.Store(&next)
	b.lightWatch.signal()
	runtime.Gosched() // those who send the light go first: rows and forecasts take longer than a lamp may wait
	return signals, lights
}

// sameLight reports whether two rows of a light tell a lamp the same.
func sameLight(x, y view.Light) bool {
	return x.ID == y.ID && x.Meaning == y.Meaning && x.Flashing == y.Flashing && x.Cause == y.Cause && x.Reason == y.Reason && x.Press == y.Press && x.Batch == y.Batch
}

// signals returns the signal of each press, by its id. s is the state that may be shown: what was
// decided in it is on disk. decided is a later state, with decisions of the bench itself that are not on
// disk yet. A light is trusted no more than either of them allows: one that turns to less trust
// does not wait for the disk, since a start after a crash finds the same conditions and decides
// the same; one that turns to more trust waits. Air, sensors and the age of batches are conditions
// and not decisions, and count as they are now in both.
func (b *Bench) signals(s, decided record.State, now time.Time) map[string]light.Signal {
	signals := make(map[string]light.Signal, len(b.shop.Presses))
	of, ofDecided := b.pressFacts(s, now), facts{}
	if decided.Seq != s.Seq {
		ofDecided = b.pressFacts(decided, now)
	}
	for _, p := range b.shop.Presses {
		signals[p.ID] = b.signal(s, of, p, now)
		if decided.Seq != s.Seq {
			signals[p.ID] = light.LessTrusted(signals[p.ID], b.signal(decided, ofDecided, p, now))
		}
	}
	return signals
}

// signal returns the signal of a press in a state.
func (b *Bench) signal(s record.State, of facts, press config.Press, now time.Time) light.Signal {
	if b.publishing().OtherInstance != "" { // lamps show unknown then, and so does everything else
		return light.Disputed()
	}
	return light.Of(b.pressNow(s, of, press, now))
}

// showSignal adds to a press what its light means.
func (b *Bench) showSignal(v *view.Press, signal light.Signal) {
	v.Light, v.Flashing, v.Cause = signal.Meaning, signal.Flashing, signal.Cause
	v.Reason = b.shop.locale.LightReason(signal, v.ID)
}

// lightViews returns the rows of the lights.
func (b *Bench) lightViews(s record.State, signals map[string]light.Signal, now time.Time) []view.Light {
	views := make([]view.Light, 0, len(b.shop.Lights))
	for _, c := range b.shop.Lights {
		each := make([]light.Signal, 0, len(c.Presses))
		for _, press := range c.Presses {
			each = append(each, signals[press])
		}
		i := light.Worst(each)
		v := view.Light{
			Time: now, ID: c.ID, ValidUntil: now.Add(view.LightValidFor), Seq: s.Seq,
			Meaning: each[i].Meaning, Colour: each[i].Meaning.Colour(), Flashing: each[i].Flashing,
			Cause: each[i].Cause, Reason: b.shop.locale.LightReason(each[i], c.Presses[i]),
			Press: c.Presses[i],
		}
		on := s.Presses[v.Press]
		if v.Batch = on.Batch; v.Batch == "" {
			v.Batch = on.WentOff
		}
		addLightReport(c, b.lightReports[c.ID], &b.clock, &v)
		views = append(views, v)
	}
	return views
}

// facts are what one pass over a state finds for the lights of all presses.
type facts struct {
	ready, coming map[string]string // mixes by press, see addMix
	// The most urgent alarm that nobody has acknowledged, by its press or its batch.
	pressAlarm, batchAlarm map[string]string
}

func (b *Bench) pressFacts(s record.State, now time.Time) facts {
	f := facts{map[string]string{}, map[string]string{}, map[string]string{}, map[string]string{}}
	for id, batch := range s.Batches {
		b.addMix(&f, s, id, batch, now)
	}
	for key, a := range s.Alarms {
		if a.State != alarm.Unacknowledged {
			continue
		}
		switch d, _ := alarm.Find(key.Name); d.Subject { // a light or a sensor may be called like a press
		case alarm.Press:
			f.pressAlarm[key.Subject] = alarm.MoreUrgent(f.pressAlarm[key.Subject], key.Name)
		case alarm.Batch:
			f.batchAlarm[key.Subject] = alarm.MoreUrgent(f.batchAlarm[key.Subject], key.Name)
		}
	}
	return f
}

// addMix notes a mix that waits for a press. A batch that has been on a press waits for none: nobody is
// asked to put a used cup back, nor to load one that may have gone off while it waited: somebody looks at
// that first. Nor is one meant that would turn the light red. Nor does a mix wait for a press whose cup has
// the same ink, may be printed with and is safe for as long: it does not replace that one. A mix of another ink comes with the next job, whichever ends first. Of those that
// are ready the one that is safe for longest is noted, of the others the oldest.
func (b *Bench) addMix(f *facts, s record.State, id string, batch *record.Batch, now time.Time) {
	if batch.For == "" || batch.Used || b.unfit(s, batch, now) {
		return
	}
	if on := s.Batches[s.Presses[batch.For].Batch]; on != nil && on.Ink == batch.Ink && !b.unfit(s, on, now) && !b.outlasts(s, batch, on, now) {
		return
	}
	if batch.Phase != lifecycle.Open {
		if oldest, has := f.coming[batch.For]; !has || id < oldest {
			f.coming[batch.For] = id
		}
		return
	}
	if best := s.Batches[f.ready[batch.For]]; best == nil || b.bringFirst(s, batch, best, now) {
		f.ready[batch.For] = id
	}
}

// bringFirst reports whether of two mixes that are ready batch goes onto the press before other: the one
// that is safe for longer, or else the older.
func (b *Bench) bringFirst(s record.State, batch, other *record.Batch, now time.Time) bool {
	longer, shorter := b.outlasts(s, batch, other, now), b.outlasts(s, other, batch, now)
	return longer && !shorter || longer == shorter && batch.ID < other.ID
}

// unfit reports whether a batch is not to be brought to a press as it is: somebody must look at it first, prints
// that were made with it failed a test, or it has a fault that nobody has accepted. The fault of a mix that is
// still being made may yet be corrected.
func (b *Bench) unfit(s record.State, batch *record.Batch, now time.Time) bool {
	return batch.TestFailed() || batch.Phase != lifecycle.Mixing && batch.Mix.FaultOpen() || b.mustLook(s, batch, now)
}

// mixesFor returns the ids of the mix that is ready for a press, see addMix, and of the oldest one
// that is not ready yet; empty when there is none.
func (b *Bench) mixesFor(s record.State, press string, now time.Time) (ready, coming string) {
	f := facts{ready: map[string]string{}, coming: map[string]string{}}
	for id, batch := range s.Batches {
		if batch.For == press {
			b.addMix(&f, s, id, batch, now)
		}
	}
	return f.ready[press], f.coming[press]
}

// pressNow is all that decides a press's light.
func (b *Bench) pressNow(s record.State, f facts, c config.Press, now time.Time) light.Press {
	on := s.Presses[c.ID]
	p := light.Press{ReportedDead: on.WentOff != "", StopAtRisk: b.shop.Alarms.StopAtRisk}
	p.PrintingWithoutBatch = printsUnloaded(s, c.ID, now)
	p.ContentUnknown = s.PressUnknown(c.ID)
	z := b.zones[c.Zone]
	p.Starting = s.Seq < b.begun || b.clock.settling() && z.source == nil && len(z.sensors) > 0
	p.Alarm = alarm.MoreUrgent(f.pressAlarm[c.ID], f.batchAlarm[on.Batch])
	p.Ready, p.Coming = f.ready[c.ID], f.coming[c.ID]
	batch, loaded := s.Batches[on.Batch]
	if !loaded {
		return p
	}
	p.Loaded = true
	if next := s.Batches[p.Ready]; next != nil && next.Ink != batch.Ink {
		p.ReadyInk = next.Ink
	}
	p.TestFailed = batch.TestFailed()
	p.PartWentOff, p.PartWentOffElder = batch.PartWentOff, batch.YoungerThanDead
	p.RatioReason = batch.Mix.RatioReason()
	p.FaultOpen, p.Resting, p.AtLeast = batch.Mix.FaultOpen(), batch.Phase == lifecycle.Resting, batch.AtLeast
	v := view.Batch{}
	b.addLife(s, batch, now, &v)
	p.QualityBad, p.QualityUncertain = v.Quality == view.QualityBad, v.Quality == view.QualityUncertain
	if p.QualityUncertain {
		p.Doubtful = b.doubtful(b.zones[batch.Zone], v.Why, now)
	}
	if batch.Ensemble != nil {
		l := b.lifeOf(s, batch, now)
		p.AdhesionFirst = l.Ends.AdhesionFirst
		p.Risk, p.LowRemaining, p.SoonWithin = l.Risk, l.Low.Sub(now), b.shop.soonWithin(batch)
	}
	return p
}
