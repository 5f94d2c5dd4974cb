package history

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/instruments"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// stand is a bench with a journal on disk, a history and a clock that a test turns.
type stand struct {
	t       testing.TB
	dir     string
	journal *journal.Journal
	history *History
	seq     uint64
	mono    time.Duration
	offset  time.Time // bench time at mono 0
	notSet  bool
	until   time.Time // of the hall's air
}

var _ clock.Clock = (*stand)(nil)

func newStand(t testing.TB) *stand {
	t.Helper()
	s := &stand{t: t, dir: t.TempDir(), offset: noon, until: noon}
	j, err := journal.Open(s.dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	s.journal = j
	s.open()
	t.Cleanup(func() {
		if err := s.history.Close(); err != nil {
			t.Error(err)
		}
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func (s *stand) open() {
	s.history = New(Settings{
		Dir: s.dir, Journal: s.journal, Bench: s, Sink: quiet{}, Clock: s, Log: slog.New(slog.DiscardHandler),
		RawFor: 14 * 24 * time.Hour, MinutesFor: 400 * 24 * time.Hour,
	})
}

// again ends the history, in good order or as by kill -9, and opens it again.
func (s *stand) again(inGoodOrder bool) {
	s.t.Helper()
	if inGoodOrder {
		s.save()
	}
	if err := s.history.Close(); err != nil {
		s.t.Fatal(err)
	}
	s.open()
}

// save stores everything, as Run does at its end.
func (s *stand) save() {
	s.t.Helper()
	s.fresh()
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	s.history.save(s.t.Context(), true)
	if s.history.fault != nil {
		s.t.Fatal(s.history.fault)
	}
}

func (s *stand) fresh() {
	s.t.Helper()
	for {
		more, err := s.history.catchUp(s.t.Context())
		if err != nil {
			s.t.Fatal(err)
		}
		if !more {
			return
		}
	}
}

func (s *stand) at() time.Time { return s.offset.Add(s.mono) }

func (s *stand) Now() clock.Instant {
	return clock.Instant{Wall: s.at(), Boot: "b", Mono: s.mono, Synced: !s.notSet}
}

func (s *stand) Snapshot() *view.Snapshot {
	return &view.Snapshot{At: s.at(), Mono: s.mono, ClockSynced: !s.notSet}
}

// reads lets a sensor be read for a time, every 5 s; air is a function of the number of seconds.
func (s *stand) reads(sensor string, seconds int, of func(second int) air.State) {
	for i := 0; i < seconds; i += 5 {
		s.history.SensorRead(s.t.Context(), sensor, instruments.SensorReading{Air: of(i)})
		s.mono += 5 * time.Second
		if len(s.history.in) > 1000 {
			s.history.drain()
		}
	}
	s.history.drain()
}

// writes brings an event to the journal.
func (s *stand) writes(bodies ...record.Body) uint64 {
	s.t.Helper()
	for _, b := range bodies {
		s.seq++
		r := record.Record{Seq: s.seq, Stamp: record.Stamp{At: s.at(), Boot: "b", Mono: s.mono, Synced: true}, By: "anna", Body: b}
		if err := s.journal.Write(journal.Group{Records: []record.Record{r}}); err != nil {
			s.t.Fatal(err)
		}
		s.mono += time.Second
	}
	return s.seq
}

// blows closes a step of the hall's air up to now.
func (s *stand) blows(to air.State, kind cure.StepKind) {
	s.t.Helper()
	now := s.at()
	e := record.AirStep{Zone: "hall", Start: s.until, After: to, ReadAt: now, Step: cure.Step{Duration: now.Sub(s.until), From: to, To: to, Kind: kind, Worst: to}}
	r := record.Record{Stamp: record.Stamp{At: now, Boot: "b", Mono: s.mono, Synced: true}, By: "bench", Body: e}
	if err := s.journal.Write(journal.Group{Records: []record.Record{r}}); err != nil {
		s.t.Fatal(err)
	}
	s.until = now
}

// mixes records a mix in the hall.
func (s *stand) mixes(id string) {
	s.t.Helper()
	m, err := guide.Recorded(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1},
		mix.Amounts{InkG: 80, HardenerG: 20, ThinnerG: 10}, s.at(), s.at())
	if err != nil {
		s.t.Fatal(err)
	}
	life, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		s.t.Fatal(err)
	}
	s.writes(record.Recorded{
		Batch: id, Day: s.at().Format("20060102"), Ink: "dial-satin", Zone: "hall", Cup: "cup-110", MixedAt: s.at(), Mix: m,
		Basis: record.Basis{Life: life, Place: cure.Place{Exposure: 1, Lag: 25 * time.Minute}},
	})
}

// quiet is a sink that does nothing with readings.
type quiet struct{ instruments.Sink }

func (quiet) SensorRead(context.Context, string, instruments.SensorReading) {}

func reading(a air.State) instruments.SensorReading { return instruments.SensorReading{Air: a} }
