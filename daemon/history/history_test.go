package history

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
)

const most = 100_000

// rounded: stored figures are rounded to 0.001, so that the last shown digit may differ by one.
var rounded = cmpopts.EquateApprox(0, 0.0101)

func (s *stand) readings(sensor string) []Reading {
	s.t.Helper()
	list, err := s.history.SensorReadings(s.t.Context(), sensor, noon.AddDate(-1, 0, 0), noon.AddDate(1, 0, 0), most)
	if err != nil {
		s.t.Fatal(err)
	}
	return list
}

func (s *stand) minutes(sensor string) []Air {
	s.t.Helper()
	list, err := s.history.SensorMinutes(s.t.Context(), sensor, noon.Add(-48*time.Hour), noon.Add(48*time.Hour), time.Minute, time.UTC, most)
	if err != nil {
		s.t.Fatal(err)
	}
	return list
}

func (s *stand) quarters(kind, name string) []Air {
	s.t.Helper()
	step, err := StepOf("15m", time.UTC)
	if err != nil {
		s.t.Fatal(err)
	}
	list, err := s.history.folded(s.t.Context(), kind, name, noon.AddDate(-1, 0, 0), noon.AddDate(1, 0, 0), step, most)
	if err != nil {
		s.t.Fatal(err)
	}
	return list
}

func rising(i int) air.State { return stateOf(20+float64(i)/3600, 40) }

// TestReadingsAreStored: what was read is answered the same before it is stored, after it was,
// after a restart in good order, and after one that lost nothing but what waited.
func TestReadingsAreStored(t *testing.T) {
	s := newStand(t)
	s.reads("hall-1", 3600, rising)
	readings, minutes, quarters := s.readings("hall-1"), s.minutes("hall-1"), s.quarters(kindSensor, "hall-1")
	if len(readings) != 720 || len(minutes) != 60 || len(quarters) != 4 {
		t.Fatalf("%d readings, %d minutes, %d quarter-hours", len(readings), len(minutes), len(quarters))
	}
	// 180 readings from 20.25 °C on, each 5/3600 °C more: their mean is 20.25 + 179/2·5/3600.
	q := quarters[1]
	if math.Abs(q.TemperatureC-20.37) > 0.006 || q.LowTemperatureC != 20.25 || math.Abs(q.HighTemperatureC-20.5) > 0.006 || q.Readings != 180 || q.HumidityPct != 40 {
		t.Errorf("%+v", q)
	}
	for _, c := range []struct {
		name   string
		change func()
	}{{"stored", s.save}, {"killed", func() { s.again(false) }}, {"again", func() { s.again(true) }}} {
		name := c.name
		c.change()
		if d := cmp.Diff(len(readings), len(s.readings("hall-1"))); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if d := cmp.Diff(minutes, s.minutes("hall-1"), rounded); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if d := cmp.Diff(quarters, s.quarters(kindSensor, "hall-1"), rounded); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// TestAtMostTheOpenMinutesAreLost: at kill -9 nothing is lost that is older than five minutes,
// and the minutes are made again from the readings.
func TestAtMostTheOpenMinutesAreLost(t *testing.T) {
	s := newStand(t)
	for range 23 {
		s.reads("hall-1", 60, rising)
		s.history.tick(t.Context())
	}
	before := s.readings("hall-1")
	s.again(false)
	after := s.readings("hall-1")
	lost := before[len(before)-1].At.Sub(after[len(after)-1].At)
	if lost > keptEvery+time.Minute {
		t.Errorf("lost %v", lost)
	}
	var n int64
	for _, m := range s.minutes("hall-1") {
		n += m.Readings
	}
	if n != int64(len(after)) {
		t.Errorf("%d readings in the minutes, %d are stored", n, len(after))
	}
}

// TestTheClockIsSet: readings from before the clock was set move to their true time.
func TestTheClockIsSet(t *testing.T) {
	s := newStand(t)
	s.notSet = true
	s.offset = noon.AddDate(-3, 0, 0)
	s.reads("hall-1", 60, rising)
	s.history.tick(t.Context())
	s.offset, s.notSet = noon, false
	s.reads("hall-1", 60, rising)
	s.save()
	list := s.readings("hall-1")
	if len(list) != 24 || !list[0].At.Equal(noon) || !list[23].At.Equal(noon.Add(115*time.Second)) {
		t.Errorf("%d readings from %v", len(list), list)
	}
}

// TestTheClockIsStepped: after a step back the same minutes come again, and none is lost.
func TestTheClockIsStepped(t *testing.T) {
	s := newStand(t)
	s.reads("hall-1", 600, rising)
	s.save()
	s.offset = s.offset.Add(-5 * time.Minute)
	s.reads("hall-1", 600, rising)
	s.save()
	var n int64
	for _, m := range s.minutes("hall-1") {
		n += m.Readings
	}
	if list := s.readings("hall-1"); len(list) != 240 || n != 240 {
		t.Errorf("%d readings, %d in the minutes", len(list), n)
	}
}

// TestAFileThatCannotBeWritten: the recorder goes on and says why; what waited is stored later.
func TestAFileThatCannotBeWritten(t *testing.T) {
	s := newStand(t)
	s.reads("hall-1", 60, rising)
	readOnly, err := os.Open(filepath.Join(s.dir, recentName)) // as on a card that went read-only
	if err != nil {
		t.Fatal(err)
	}
	defer readOnly.Close()
	file := s.history.store.recent.file
	s.history.store.recent.file = readOnly
	s.mono += 10 * time.Minute
	s.history.tick(t.Context())
	if s.history.State().Detail == "" {
		t.Error("no fault is told of the recent readings")
	}
	s.history.store.recent.file = file
	s.history.tick(t.Context())
	if told := s.history.State().Detail; told != "" || s.recent() != 1 {
		t.Errorf("%d readings are kept; %s", s.recent(), told)
	}
	if _, err := s.history.store.write.Exec(`PRAGMA query_only(1)`); err != nil {
		t.Fatal(err)
	}
	s.mono += time.Hour
	s.history.tick(t.Context())
	if s.history.State().Detail == "" {
		t.Error("no fault is told")
	}
	if n := len(s.readings("hall-1")); n != 12 {
		t.Errorf("%d readings", n)
	}
	if _, err := s.history.store.write.Exec(`PRAGMA query_only(0)`); err != nil {
		t.Fatal(err)
	}
	s.history.tick(t.Context())
	if told := s.history.State().Detail; told != "" {
		t.Error(told)
	}
	s.again(false)
	if n := len(s.readings("hall-1")); n != 12 {
		t.Errorf("%d readings after the restart", n)
	}
}

// TestAFileThatIsNone: a damaged file stops nothing and is told.
func TestAFileThatIsNone(t *testing.T) {
	s := newStand(t)
	if err := s.history.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(s.dir, FileName)
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		os.Remove(name)
	}
	if err := os.WriteFile(path, []byte("this is no database, and it is longer than a header of one hundred bytes, so that it is read as one and found wanting"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.open()
	s.reads("hall-1", 60, rising)
	s.history.tick(t.Context())
	if s.history.State().Detail == "" {
		t.Error("no fault is told")
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	s.mono += 10 * time.Minute
	s.history.tick(t.Context())
	if told := s.history.State().Detail; told != "" {
		t.Error(told)
	}
	if n := len(s.readings("hall-1")); n != 12 {
		t.Errorf("%d readings", n)
	}
}

// aDay lets a batch be mixed, printed with and closed, in air that changes.
func aDay(s *stand) {
	s.blows(stateOf(20, 40), cure.Measured)
	s.mono += 15 * time.Minute
	s.blows(stateOf(20, 40), cure.Measured)
	s.mixes("0612-1")
	s.writes(record.Loaded{Batch: "0612-1", Press: "press-1", Zone: "hall", Place: cure.Place{Exposure: 1}})
	for i := range 8 {
		s.mono += 10 * time.Minute
		s.blows(stateOf(20+float64(i%2), 40+float64(i)), cure.Measured)
		s.writes(record.Printed{Press: "press-1", Batch: "0612-1", Add: 100})
	}
	s.mono += 30 * time.Minute
	s.blows(stateOf(25, 60), cure.Stale)
	read := stateOf(21, 47)
	s.writes(record.SensorVerified{Sensor: "hall-1", HumidityPct: 45, Read: &read, AllowedPct: 3})
	left := 12.0
	s.writes(record.Closed{Batch: "0612-1", Ink: "dial-satin", Press: "press-1", Outcome: "used-up", StillGood: "yes", LeftG: &left})
}

type answers struct {
	Zone    []Air
	Prints  []Prints
	Batches []Batch
	Checks  []Check
}

func (s *stand) answers() (a answers) {
	s.t.Helper()
	ctx, find := s.t.Context(), Search{From: noon.AddDate(-1, 0, 0), To: noon.AddDate(1, 0, 0)}
	step, err := StepOf("", time.UTC)
	if err == nil {
		a.Prints, err = s.history.PrintsIn(ctx, find, step, most)
	}
	if err == nil {
		a.Batches, err = s.history.Batches(ctx, find, most)
	}
	if err == nil {
		a.Checks, err = s.history.Checks(ctx, "", find.From, find.To, time.UTC, most)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	a.Zone = s.quarters(kindZone, "hall")
	return a
}

// TestTheJournalIsFollowed: the answers are those of the journal, stored or not, and again after
// the file was lost.
func TestTheJournalIsFollowed(t *testing.T) {
	s := newStand(t)
	aDay(s)
	s.fresh()
	first := s.answers()
	if len(first.Batches) != 1 || len(first.Checks) != 1 || len(first.Prints) < 5 {
		t.Fatalf("%+v", first)
	}
	b := first.Batches[0]
	if b.Prints != 800 || b.Outcome != "used-up" || *b.InkG != 80 || *b.ThinnerPct != 10 || *b.RatioOffPct != 25 || b.Press != "press-1" || b.Zone != "hall" ||
		*b.Spent <= 0 || *b.AgeS != 6611 || *b.MeanHumidityPct < 40 || *b.MeanHumidityPct > 47 || *b.LeftG != 12 {
		t.Errorf("%+v", b)
	}
	if c := first.Checks[0]; *c.OffPct != 2 || !c.Passed || c.By != "anna" {
		t.Errorf("%+v", c)
	}
	known := 0.0
	for _, row := range first.Zone {
		known += row.KnownS
		if row.Quality != view.QualityGood || row.HumidityPct > 47 {
			t.Errorf("%+v", row)
		}
	}
	// 15 minutes, a second for the record and one for the load, eight times ten minutes with a second each.
	if want := 15*60 + 2 + 8*600 + 7.0; math.Abs(known-want) > 0.5 {
		t.Errorf("known for %v s, want %v", known, want)
	}
	for _, c := range []struct {
		name   string
		change func()
	}{
		{"stored", s.save}, {"again", func() { s.again(true) }},
		{"lost", func() {
			if err := s.history.Close(); err != nil {
				t.Fatal(err)
			}
			for _, end := range []string{"", "-wal", "-shm"} {
				os.Remove(filepath.Join(s.dir, FileName+end))
			}
			s.open()
			s.fresh()
		}},
	} {
		name := c.name
		c.change()
		if d := cmp.Diff(first, s.answers()); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	read, err := OpenToRead(t.Context(), s.dir, s.journal)
	if err != nil {
		t.Fatal(err)
	}
	own := s.history
	s.history = read
	if d := cmp.Diff(first, s.answers()); d != "" {
		t.Errorf("beside the daemon: %s", d)
	}
	s.history = own
	if err := read.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestAnEndThatWasUndone has no row, before and after it was stored.
func TestAnEndThatWasUndone(t *testing.T) {
	for _, stored := range []bool{false, true} {
		s := newStand(t)
		aDay(s)
		if stored {
			s.save()
		} else {
			s.fresh()
		}
		s.writes(record.Undone{Batch: "0612-1", Undoes: s.seq, Of: record.KindClosed, Batches: []string{"0612-1"}})
		s.fresh()
		if a := s.answers(); len(a.Batches) != 0 {
			t.Errorf("stored %v: %+v", stored, a.Batches)
		}
		s.save()
		if a := s.answers(); len(a.Batches) != 0 {
			t.Errorf("stored %v, then saved: %+v", stored, a.Batches)
		}
	}
}

// TestConditionsOfCounts: means are over the pieces; the minute that an event names counts; a
// correction changes the number alone.
func TestConditionsOfCounts(t *testing.T) {
	s := newStand(t)
	conditions := func(spent, celsius float64) record.Conditions {
		age, humidity := time.Duration(spent*float64(6*time.Hour)), 40.0
		return record.Conditions{Spent: &spent, Age: &age, TemperatureC: &celsius, HumidityPct: &humidity}
	}
	minute := noon.Add(-20 * time.Minute)
	s.writes(
		record.Printed{Press: "press-1", Batch: "0612-1", Add: 300, Minute: minute, Conditions: conditions(0.1, 20)},
		record.Printed{Press: "press-1", Batch: "0612-1", Add: 100, Minute: minute.Add(time.Minute), Conditions: conditions(0.5, 24)},
		record.Printed{Press: "press-1", Batch: "0612-1", Add: 50, Minute: minute.Add(2 * time.Minute)},
		record.Defects{Press: "press-1", Batch: "0612-1", Defect: "pinholes", Add: 4, Minute: minute, Conditions: conditions(0.1, 20)},
		record.Defects{Press: "press-1", Batch: "0612-1", Defect: "pinholes", Add: -1, Minute: minute.Add(3 * time.Minute), Conditions: conditions(0.9, 30)},
		record.Defects{Press: "press-1", Batch: "0612-1", Defect: "dust", Add: 2, Minute: minute.Add(15 * time.Minute)},
	)
	for range 2 {
		s.save()
		a := s.answers()
		if len(a.Prints) != 1 || a.Prints[0].Prints != 450 || !a.Prints[0].Time.Equal(noon.Add(-30*time.Minute)) {
			t.Fatalf("%+v", a.Prints)
		}
		if c := a.Prints[0].Conditions; *c.Spent != 0.2 || *c.TemperatureC != 21 || *c.AgeS != 4320 || *c.HumidityPct != 40 {
			t.Errorf("%v %v %v", *c.Spent, *c.TemperatureC, *c.AgeS)
		}
		step, err := StepOf("", time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		list, err := s.history.DefectsIn(t.Context(), Search{From: minute, To: noon.Add(time.Hour)}, step, most)
		if err != nil || len(list) != 2 || list[0].Kind != "pinholes" || list[0].Defects != 3 || *list[0].Spent != 0.1 || list[1].Kind != "dust" || list[1].Spent != nil {
			t.Errorf("%v %+v", err, list)
		}
	}
}

// TestOldReadingsAreRemoved: readings go after their time, then minutes; quarter-hours stay.
func TestOldReadingsAreRemoved(t *testing.T) {
	s := newStand(t)
	s.reads("hall-1", 1800, rising)
	s.save()
	s.mono += 15 * 24 * time.Hour
	s.history.tick(t.Context())
	if r, m, q := s.readings("hall-1"), s.minutes("hall-1"), s.quarters(kindSensor, "hall-1"); len(r) != 0 || len(m) != 30 || len(q) != 2 {
		t.Errorf("after 15 days %d readings, %d minutes, %d quarter-hours", len(r), len(m), len(q))
	}
	s.mono += 400 * 24 * time.Hour
	s.history.tick(t.Context())
	if m, q := s.minutes("hall-1"), s.quarters(kindSensor, "hall-1"); len(m) != 0 || len(q) != 2 {
		t.Errorf("after 415 days %d minutes, %d quarter-hours", len(m), len(q))
	}
}

// TestAWrongClockRemovesNoYear: a wall clock that is set ten years ahead, and back, costs the oldest
// two days of readings and minutes. What is older than it is stored for goes all the same, day by day.
func TestAWrongClockRemovesNoYear(t *testing.T) {
	s := newStand(t)
	for range 10 {
		s.reads("hall-1", 60, rising)
		s.mono += 24*time.Hour - time.Minute
		s.save()
	}
	all := len(s.readings("hall-1"))
	s.mono += 10 * 365 * 24 * time.Hour
	s.history.tick(t.Context())
	if left := len(s.readings("hall-1")); left < all*7/10 || left >= all {
		t.Errorf("of %d readings of ten days %d are left after a step of ten years", all, left)
	}
	for range 10 {
		s.mono += 24 * time.Hour
		s.history.tick(t.Context())
	}
	if r, m := s.readings("hall-1"), s.minutes("hall-1"); len(r) != 0 || len(m) != 0 {
		t.Errorf("ten days after they were to go %d readings and %d minutes are left", len(r), len(m))
	}
}
