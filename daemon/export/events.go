package export

import (
	"cmp"
	"context"
	"encoding/json"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// atOnce is how many records of the journal are read at once.
const atOnce = 2000

// events reads the journal once for the tables of which the rows are events, or come from them.
func (s *source) events(ctx context.Context, files map[string]*file) error {
	pours := files["pours"]
	if pours == nil && files["flow-times"] == nil && files["scale-checks"] == nil && files["alarms"] == nil && files["events"] == nil {
		return nil
	}
	newest, err := s.Journal.Newest(ctx)
	if err != nil {
		return err
	}
	begin, err := s.begin(ctx)
	if err != nil {
		return err
	}
	var day []Pour // in another order than a later export would find them
	open := mixes{of: s.of, open: map[string]*poured{}, put: func(p Pour) error {
		if p.Time.Before(s.From) || !p.Time.Before(s.To) {
			return nil
		}
		if s.reach > 0 {
			day = append(day, p)
			return nil
		}
		return pours.put(p)
	}}
	for place, n, over := begin, atOnce, false; n == atOnce && !over; {
		n = 0
		s.progress("events", float64(place)/float64(max(newest, 1)))
		err := s.Journal.Since(ctx, place, atOnce, func(at int64, r record.Record) error {
			place, n = at, n+1
			over = s.reach > 0 && r.Stamp.At.After(s.To.Add(s.reach))
			if !r.IsEvent() {
				return nil
			}
			if pours != nil {
				if err := open.take(r); err != nil {
					return err
				}
			}
			if r.Stamp.At.Before(s.From) || !r.Stamp.At.Before(s.To) {
				return nil
			}
			return s.event(r, files)
		})
		if err != nil {
			return err
		}
	}
	if pours == nil {
		return nil
	}
	if err := open.end(); err != nil {
		return err
	}
	return putSorted(pours, day)
}

// putSorted writes the pours of a day in the order of time.
func putSorted(pours *file, day []Pour) error {
	slices.SortStableFunc(day, func(a, b Pour) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.Part, b.Part))
	})
	for _, p := range day {
		if err := pours.put(p); err != nil {
			return err
		}
	}
	return nil
}

// begin returns the place after which the events are read.
func (s *source) begin(ctx context.Context) (int64, error) {
	if s.reach == 0 {
		return 0, nil
	}
	place, err := s.Journal.PlaceAt(ctx, s.From.Add(-s.reach))
	return max(0, place-1), err
}

// event writes an event as a row of the tables that want it.
func (s *source) event(r record.Record, files map[string]*file) error {
	flows, scaleChecks, alarms, events := files["flow-times"], files["scale-checks"], files["alarms"], files["events"]
	if e, ok := r.Body.(record.ScaleVerified); ok && scaleChecks != nil {
		for _, load := range e.Result.Loads {
			row := ScaleCheck{s.of, r.Stamp.At, r.Stamp.At.In(s.Zone).Format(time.RFC3339), e.Scale, r.Seq, r.By, e.Class, e.IntervalG, e.WeightClass, e.Result.Verdict, load, e.Note}
			if err := scaleChecks.put(row); err != nil {
				return err
			}
		}
	}
	if e, ok := r.Body.(record.FlowTimed); ok && flows != nil && len(e.RunsS) > 0 {
		if err := flows.put(flowTimeOf(s.of, r, e)); err != nil {
			return err
		}
	}
	if alarms != nil {
		if row, ok := alarmOf(r); ok {
			row.Of = s.of
			if err := alarms.put(row); err != nil {
				return err
			}
		}
	}
	if events == nil {
		return nil
	}
	body, err := r.JSON()
	if err != nil {
		return err
	}
	wire, err := view.WireEvent(view.Source{Bench: s.Bench, Journal: s.Journal.ID()}, r.Seq, r.Stamp.At, string(r.Body.Kind()), r.By, body)
	if err != nil {
		return err
	}
	row := Event{Of: s.of, Time: r.Stamp.At, Seq: r.Seq, Journal: s.Journal.ID(), Kind: string(r.Body.Kind()), By: r.By}
	if err := row.fields(json.RawMessage(wire.JSON)); err != nil {
		return err
	}
	return events.put(row)
}

// flowTimeOf returns the row of a flow time with at least one run.
func flowTimeOf(of Of, r record.Record, e record.FlowTimed) FlowTime {
	row := FlowTime{
		Of: of, Time: r.Stamp.At, Batch: e.Batch, Seq: r.Seq, Cup: e.Cup, RunS: e.RunsS[0], Agree: e.Sample.Agree(), InkTemperatureC: e.InkTemperatureC,
		Viscosity: e.ViscosityMM2PerS, ThinnerPct: e.Sample.ThinnerPct, By: r.By,
	}
	if len(e.RunsS) > 1 {
		row.SecondRunS = &e.RunsS[1]
	}
	if e.Corrects != 0 {
		row.Corrects = &e.Corrects
	}
	return row
}

// alarmOf returns the change of an alarm that an event records.
func alarmOf(r record.Record) (a Alarm, ok bool) {
	a = Alarm{Time: r.Stamp.At, Seq: r.Seq, By: r.By}
	switch e := r.Body.(type) {
	case record.AlarmRaised:
		a.Change, a.Alarm, a.Subject, a.Priority, a.Text = "raised", e.Name, e.Subject, string(e.Priority), e.Text
	case record.AlarmReturned:
		a.Change, a.Alarm, a.Subject = "returned", e.Name, e.Subject
	case record.AlarmCleared:
		a.Change, a.Alarm, a.Subject = "cleared", e.Name, e.Subject
	case record.AlarmAcknowledged:
		a.Change, a.Alarm, a.Subject = "acknowledged", e.Name, e.Subject
	case record.AlarmShelved:
		a.Change, a.Alarm, a.Subject, a.Priority, a.Text = "shelved", e.Name, e.Subject, string(e.Priority), e.Reason
	case record.AlarmUnshelved:
		a.Change, a.Alarm, a.Subject = "unshelved", e.Name, e.Subject
	case record.AlarmSuppressed:
		a.Change, a.Alarm, a.Subject, a.Priority, a.Text = "suppressed", e.Name, e.Subject, string(e.Priority), e.Text
	case record.AlarmUnsuppressed:
		a.Change, a.Alarm, a.Subject = "unsuppressed", e.Name, e.Subject
	default:
		return a, false
	}
	return a, true
}

// poured is a mix and what was poured into it.
type poured struct {
	batch, ink string
	seq        uint64
	mix        guide.Mix
	lots       map[string]string // by can
	later      []Pour            // thinner in use
	undo       map[uint64]int    // of these, by event
	ended      time.Time         // zero while it is open
}

// mixes follows the mixes until they have ended. An end can be undone for some seconds, so that
// the rows of a mix are written a while later.
type mixes struct {
	of   Of
	open map[string]*poured
	put  func(Pour) error
}

const undoneWithin = time.Hour

func (m *mixes) take(r record.Record) error {
	switch e := r.Body.(type) {
	case record.MixStarted:
		if err := m.begin(e.Batch, e.Ink, r.Seq); err != nil {
			return err
		}
		m.poured(e.Batch, e.Mix)
	case record.Recorded:
		if err := m.begin(e.Batch, e.Ink, r.Seq); err != nil {
			return err
		}
		m.poured(e.Batch, e.Mix)
	case record.Confirmed:
		m.poured(e.Batch, e.Mix)
	case record.Corrected:
		m.poured(e.Batch, e.Mix)
	case record.PourOverBegun:
		m.poured(e.Batch, e.Mix)
	case record.PouredOver:
		m.poured(e.Batch, e.Mix)
	case record.Rested:
		m.poured(e.Batch, e.Mix)
	case record.TakenUp:
		m.poured(e.Batch, e.Mix)
	case record.PouredFrom:
		if p := m.open[e.Batch]; p != nil {
			p.lots[e.Can] = e.Lot
		}
	case record.Thinned:
		if p := m.open[e.Batch]; p != nil {
			p.undo[r.Seq] = len(p.later)
			p.later = append(p.later, Pour{Time: r.Stamp.At, Part: mix.Thinner, MassG: e.G, Can: e.Can, InUse: true})
		}
	case record.Undone:
		m.undone(e)
	case record.Closed:
		return m.ended(e.Batch, r.Stamp.At)
	case record.Abandoned:
		return m.ended(e.Batch, r.Stamp.At)
	case record.ToppedUp:
		return m.ended(e.From, r.Stamp.At)
	}
	return nil
}

// begin begins a mix. One of the same id, of a year before, is over.
func (m *mixes) begin(batch, ink string, seq uint64) error {
	if old := m.open[batch]; old != nil {
		if err := m.write(old); err != nil {
			return err
		}
	}
	m.open[batch] = &poured{batch: batch, ink: ink, seq: seq, lots: map[string]string{}, undo: map[uint64]int{}}
	return nil
}

func (m *mixes) poured(batch string, is guide.Mix) {
	if p := m.open[batch]; p != nil {
		p.mix = is
	}
}

func (m *mixes) undone(e record.Undone) {
	for _, id := range e.Batches {
		p := m.open[id]
		if p == nil {
			continue
		}
		p.ended = time.Time{}
		if i, ok := p.undo[e.Undoes]; ok {
			p.later[i].MassG = 0
		}
	}
}

// ended notes an end and writes the mixes that ended long enough ago.
func (m *mixes) ended(batch string, at time.Time) error {
	if p := m.open[batch]; p != nil {
		p.ended = at
	}
	for _, id := range slices.Sorted(maps.Keys(m.open)) {
		p := m.open[id]
		if p.ended.IsZero() || at.Sub(p.ended) < undoneWithin {
			continue
		}
		if err := m.write(p); err != nil {
			return err
		}
		delete(m.open, id)
	}
	return nil
}

// end writes the mixes that are left, those that are open included.
func (m *mixes) end() error {
	left := slices.SortedFunc(maps.Values(m.open), func(a, b *poured) int { return cmp.Compare(a.seq, b.seq) })
	for _, p := range left {
		if err := m.write(p); err != nil {
			return err
		}
	}
	return nil
}

func (m *mixes) write(p *poured) error {
	division := p.mix.Recipe.DivisionG
	if p.mix.ByHand {
		division = 0
	}
	var rows []Pour
	for _, one := range p.mix.Pours {
		rows = append(rows, Pour{Time: one.RoseAt, Part: one.Part, MassG: one.G, Can: one.Can, Weighed: !p.mix.ByHand})
	}
	for _, row := range append(rows, p.later...) {
		if row.MassG == 0 {
			continue
		}
		row.Of, row.Batch, row.Seq, row.Ink, row.Lot = m.of, p.batch, p.seq, p.ink, p.lots[row.Can]
		row.MassG = precision.Grams(row.MassG, division)
		if err := m.put(row); err != nil {
			return err
		}
	}
	return nil
}
