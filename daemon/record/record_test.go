package record

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/alarm"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/verify"
	"potlifed/model/viscosity"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// everyBody holds one body of each kind.
func everyBody(t testing.TB) map[Kind]Body {
	t.Helper()
	at := noon
	m, err := guide.Start(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1})
	if err != nil {
		t.Fatal(err)
	}
	ink, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	basis := Basis{Life: ink, Place: cure.Place{Exposure: 1, Lag: time.Minute}}
	all := map[Kind]Body{}
	for _, b := range []Body{
		Started{Instance: "i", Version: "v", Gap: time.Second, Shift: -time.Second, Countable: true}, Stopped{},
		ClockChanged{Step: time.Hour, Synced: true}, MixStarted{Batch: "0612-1", Day: "20260612", Ink: "dial-satin", Mix: m, Basis: basis},
		Undone{Batch: "0612-1", Undoes: 7, Of: KindClosed, Batches: []string{"0612-1"}, Presses: []string{"press-1"}, Cans: []string{"thinner-1"}},
		TakenUp{Batch: "0612-1", Scale: "scale-1", WeightG: 87, Expected: 87, Recognised: true, Mix: m},
		PanChanged{Batch: "0612-1", Change: "tared"}, HardenerBegun{Batch: "0612-1", MixedAt: at, WeighingU: 0.01},
		Confirmed{Batch: "0612-1", Step: "hardener", Next: "stir-hardener", Part: "hardener", AddedG: 17, MixedAt: &at, Mix: m},
		Corrected{Batch: "0612-1", Undo: true, Mix: m}, Rested{Batch: "0612-1", Mix: m}, PourOverBegun{Batch: "0612-1", From: "cup-90", To: "cup-130", NotTakenG: 9, Mix: m}, PouredOver{Batch: "0612-1", From: "cup-90", To: "cup-130", EmptyG: 20, BeforeG: 95, AfterG: 94, LostG: 1, Mix: m}, Recorded{Batch: "0612-2", Day: "20260612", MixedAt: at, Mix: m, Basis: basis},
		Loaded{Batch: "0612-1", Press: "press-1"}, Unloaded{Batch: "0612-1", Press: "press-1"}, Good{Batch: "0612-1"},
		Abandoned{Batch: "0612-1"}, Closed{Batch: "0612-1", Outcome: "used-up"}, AlarmRaised{Name: "clock", Subject: "bench-1"},
		AlarmCleared{Name: "clock", Subject: "bench-1"}, AlarmAcknowledged{Name: "clock", Subject: "bench-1"},
		AlarmReturned{Name: "clock", Subject: "bench-1"}, AlarmShelved{Name: "clock", Subject: "bench-1", Priority: "low", Until: at, Reason: "r"},
		AlarmUnshelved{Name: "clock", Subject: "bench-1"}, AlarmSuppressed{Name: "life-cut", Subject: "0612-1", Priority: "medium", Text: "t"},
		AlarmUnsuppressed{Name: "life-cut", Subject: "0612-1"},
		OutOfService{Device: "bench-air", Alarms: map[string]alarm.Priority{"sensor-stale": "medium"}, Until: at, Reason: "r"},
		Printed{Press: "press-1", Batch: "0612-1", Add: 7, Minute: at, Day: "2026-06-12", Last: at},
		Defects{Press: "press-1", Defect: "dust", Add: -1, Counter: new(uint64(9)), Minute: at, Day: "2026-06-12", Last: at, Late: true, Conditions: Conditions{
			Ink: "dial-satin", Zone: "bench", Age: new(time.Hour), Spent: new(0.2), LifeQuality: "good", ThinnerPct: new(7.0), RatioOffPct: new(-1.5),
			TemperatureC: new(21.5), HumidityPct: new(44.0), VapourDensity: new(8.3), AirQuality: "good",
		}},
		Counted{Press: "press-1", Defect: "dust", Batch: "0612-1", Add: 2, Minute: at, Day: "2026-06-12", Conditions: &Conditions{Zone: "bench"}},
		InService{Device: "bench-air", Alarms: []string{"sensor-stale"}},
		Moved{Batch: "0612-1", Zone: "hall"}, Split{Batch: "0612-1b", From: "0612-1", G: 20}, ToppedUp{Batch: "0612-1", From: "0612-2", Older: true},
		TrendTaken{Batch: "0612-1", Instrument: "stirrer-1", Value: 21.4, Begin: true, Curve: viscosity.AssumedTrend(),
			Sample: viscosity.Sample{LnRuns: []float64{0}, RunSpread: 0.003, Drift: 0.01, TemperatureC: 22}},
		FlowTimed{Batch: "0612-1", Cup: "ford-4", RunsS: []float64{48, 49}, InkTemperatureC: new(22.5), ViscosityMM2PerS: 169.4, Corrects: 7, Curve: viscosity.Assumed(),
			Sample: viscosity.Sample{LnRuns: []float64{5.12, 5.14}, RunSpread: 0.02, CommonSpread: 0.04, TemperatureC: 22.5, ThinnerPct: -0.5, ThinnerSd: 0.3}},
		Thinned{Batch: "0612-1", G: 2}, Tested{Batch: "0612-1", Test: "rub", Result: "pass"},
		Tested{Batch: "0612-1", Test: "adhesion", Result: "fail", PrintedAt: at, Spent: 0.5, AgeH: 3.5, Corrects: 7},
		Reweighed{Batch: "0612-1", ContentG: 68, TakenG: 5, LossG: 2, UncertaintyG: 0.3},
		LearnedAccepted{Ink: "dial-satin", Sheet: ink, Life: ink, Verdict: "as its data sheet says"}, LearnedRevoked{Ink: "dial-satin"},
		JarsStarted{Ink: "dial-satin", MixedAt: at, Jars: []PlannedJar{{TemperatureC: 35, HumidityPct: 32.1, Salt: "magnesium-chloride", LowH: 2.1, ExpectedH: 3, HighH: 4.1}, {TemperatureC: 21, HumidityPct: 45, Open: true, LowH: 4, ExpectedH: 6, HighH: 9}},
			Before: JarSpreads{10, 0.12}, After: JarSpreads{4, 0.06}},
		JarLooked{Ink: "dial-satin", Jar: 1, Seen: JarGood, At: at.Add(time.Hour), AgeH: 1}, JarsEnded{Ink: "dial-satin", Counts: true},
		SensorVerified{Sensor: "bench-air", HumidityPct: 75.3, TemperatureC: new(25.0), Read: &air.State{TemperatureC: 24.8, HumidityPct: 74}, Note: "salt jar"},
		CorrectionAccepted{Sensor: "bench-air", Correction: verify.LinearCorrection{OffsetPct: 2, Gain: 1.02, GainStandard: 0.01}, Points: []CheckPoint{{At: at, Salt: "sodium-chloride", RawPct: 71, ReadPct: 75, ReferencePct: 75.3, StandardPct: 0.5, AllowedPct: 3}}},
		CorrectionRevoked{Sensor: "bench-air", Points: []CheckPoint{{At: at, RawPct: 71, ReadPct: 71, ReferencePct: 75.3, AllowedPct: 3, Failed: true}}, Offer: &verify.LinearCorrection{OffsetPct: 2, Gain: 1}},
		ScaleVerified{Scale: "scale-1", Class: verify.ClassIII, IntervalG: 1, CapacityG: 2000, WeightClass: verify.M1, Readings: [][]float64{{100, 101, 100}}, Result: verify.ScaleResult{Loads: []verify.LoadResult{{LoadG: 100, N: 3, Verdict: verify.Passed}}, Verdict: verify.Passed}},
		ScaleDay{Scale: "scale-1", PanDay: health.PanDay{Date: "2026-06-12", Settled: 40, Settle: 2 * time.Second, Lines: 864000, Rejected: 12, NoiseG: new(0.02), ZeroG: new(0.1)}},
		SensorDay{Sensor: "bench-air", Day: health.Day{Date: "2026-06-12", N: 17280, Errors: 3, MeanPct: 48.2, MeanC: 21.3, Same: time.Minute, Jumps: 1, Beside: "hall-air", ApartPct: -0.4, Parts: health.Parts{2: {N: 2160, MeanPct: 47.1, BesideN: 2100, ApartPct: -0.3}}}},
		Identified{Device: "bench-air", Name: "hdc1080", Was: "sht4x"}, Identified{Device: "scale-1", Scale: true, Name: "usb-one"},
		Replaced{Device: "bench-air", Serial: "A 17", Note: "n"},
		CanMade{Can: "ink-1", Part: "ink", Material: "dial-satin", Lot: "A 17", Colour: "red", OpenedOn: "2026-06-01", UseBy: "2027-01-31"},
		CanOpened{Can: "ink-1", On: "2026-06-02"}, CanStirred{Can: "ink-1"}, CanEmptied{Can: "ink-1", Undo: true},
		PouredFrom{Batch: "0612-1", Can: "ink-1", Part: "ink", Material: "dial-satin", Lot: "A 17", G: 85, ExpiredOn: "2026-06-01", Override: "r"},
		LeftWeighed{Batch: "0612-1", Scale: "scale-1", GrossG: 32.4, EmptyG: 12, LeftG: 20.4},
		ConfigurationRead{Changes: []string{"sensors: hall-air is new"}, Devices: map[string]string{"sensor/hall-air": "iio /a"}},
		DevicePaired{Device: "tablet", Session: "0123456789ab"}, DeviceUnpaired{Device: "tablet", Session: "0123456789ab"},
		JournalRebuilt{Reason: "an event is missing", Former: "0123456789abcdef", Aside: "journal-damaged-20260612T060000Z",
			Lost: []Span{{4, 6}, {9, 9}}, Records: 5, Presses: []string{"press-1"}, Day: "20260612"},
		AirStep{Zone: "bench", Start: at, Step: cure.Step{Duration: time.Minute, Kind: cure.Measured}},
	} {
		all[b.Kind()] = b
	}
	return all
}

func TestBodiesSurviveTheJournal(t *testing.T) {
	for kind, body := range everyBody(t) {
		b, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeBody(kind, b)
		if err != nil {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		if d := cmp.Diff(body, got, cmp.Exporter(func(reflect.Type) bool { return true })); d != "" {
			t.Errorf("%s came back changed:\n%s", kind, d)
		}
		if body.Kind() != kind || strings.ToLower(string(kind)) != string(kind) {
			t.Errorf("kind %q", kind)
		}
	}
}

// TestEveryKindIsInTheTable: each kind has one row, and the table is complete: it has the
// kind of every body that the other tests use, and no kind that they leave out.
func TestEveryKindIsInTheTable(t *testing.T) {
	bodies := everyBody(t)
	seen := map[Kind]bool{}
	for _, kind := range Kinds() {
		if seen[kind] {
			t.Errorf("%s has two rows", kind)
		}
		seen[kind] = true
		if bodies[kind] == nil {
			t.Errorf("%s has no body in everyBody", kind)
		}
	}
	for kind := range bodies {
		if !seen[kind] {
			t.Errorf("%s is not in the table", kind)
		}
	}
}

// unlisted is a body whose kind is in no table.
type unlisted struct{ Stopped }

func (unlisted) Kind() Kind { return "unlisted" }

// TestUnlistedKindIsNotWritten: what could not be read again is not written.
func TestUnlistedKindIsNotWritten(t *testing.T) {
	r := Record{Seq: 1, Body: unlisted{}}
	if err := r.Encode(); err == nil || !strings.Contains(err.Error(), "unlisted") {
		t.Errorf("a body that is not in the table: %v", err)
	}
	if b, err := r.JSON(); err == nil {
		t.Errorf("a body that is not in the table is written: %s", b)
	}
}

// TestBodiesAreAboutABatch: a body is about the batch that it names, except that a part
// split off is about the batch it came from, and prints are about their press.
func TestBodiesAreAboutABatch(t *testing.T) {
	for kind, body := range everyBody(t) {
		b, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		var named struct{ Batch, From string }
		if err := json.Unmarshal(b, &named); err != nil {
			t.Fatal(err)
		}
		want := named.Batch
		switch kind {
		case KindSplit:
			want = named.From
		case KindPrinted, KindDefects, KindCounted:
			want = ""
		}
		if body.About() != want {
			t.Errorf("%s is about %q, want %q", kind, body.About(), want)
		}
	}
}

func TestUnknownKindIsAnError(t *testing.T) {
	if _, err := DecodeBody("batch-sold", []byte("{}")); err == nil || !strings.Contains(err.Error(), "batch-sold") {
		t.Errorf("an unknown kind: %v", err)
	}
}

func FuzzDecodeBody(f *testing.F) {
	for kind, body := range everyBody(f) {
		b, err := json.Marshal(body)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(kind), b)
	}
	f.Fuzz(func(t *testing.T, kind string, data []byte) {
		body, err := DecodeBody(Kind(kind), data)
		if err != nil {
			return
		}
		if body.Kind() != Kind(kind) {
			t.Fatalf("kind %q decoded into %q", kind, body.Kind())
		}
		// What can be read can be written, and reads the same again.
		b, err := json.Marshal(body)
		if err != nil {
			return // a year beyond four digits, which JSON times do not have
		}
		if _, err := DecodeBody(Kind(kind), b); err != nil {
			t.Fatalf("%s: written %s, and then not read: %v", kind, b, err)
		}
	})
}

func TestIDsAreNotGivenTwice(t *testing.T) {
	s := NewState("j")
	seen := map[string]bool{}
	for _, day := range []string{"20260612", "20260612", "20260613", "20260612", "20260611", "20260613", "20270101"} {
		id := s.NextID(day)
		if seen[id] {
			t.Errorf("id %s twice: the clock went back to %s", id, day)
		}
		seen[id] = true
		s.countBatch(day)
	}
	if !seen["0612-1"] || !seen["0612-2"] || !seen["0613-1"] || !seen["0101-1"] {
		t.Errorf("ids %v", seen)
	}
}

// TestPathTellsWhatWasRecorded: whatever steps were closed, the path from any moment is
// as long as the time to the last of them, and differs from them by no more than the
// merging allows.
func TestPathTellsWhatWasRecorded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Apply(NewState("j"), Record{Stamp: Stamp{At: noon}, Body: AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: air.State{TemperatureC: 20, HumidityPct: 50}}})
		at, last := noon, air.State{TemperatureC: 20, HumidityPct: 50}
		exact := 0.0 // the integral of the humidity over the last hour, in %·s
		var steps []cure.PastStep
		for range rapid.IntRange(1, 200).Draw(t, "steps") {
			d := time.Duration(rapid.IntRange(1, 60).Draw(t, "s")) * time.Second
			next := air.State{TemperatureC: 20, HumidityPct: min(100, max(0, last.HumidityPct+rapid.Float64Range(-1, 1).Draw(t, "by")))}
			step := cure.Step{Duration: d, Kind: cure.Measured, From: last, To: next}
			steps = append(steps, cure.PastStep{Start: at, Step: step})
			s = Apply(s, Record{Stamp: Stamp{At: at.Add(d)}, Body: AirStep{Zone: "bench", Start: at, Step: step, After: next, ReadAt: at.Add(d)}})
			at, last = at.Add(d), next
		}
		from := noon.Add(time.Duration(rapid.IntRange(0, int(at.Sub(noon)/time.Second)).Draw(t, "from")) * time.Second)
		for _, p := range steps {
			if p.End().After(from) {
				cut := max(from.Sub(p.Start), 0)
				a := air.Lerp(p.Step.From, p.Step.To, float64(cut)/float64(p.Step.Duration))
				exact += (a.HumidityPct + p.Step.To.HumidityPct) / 2 * (p.Step.Duration - cut).Seconds()
			}
		}
		var length time.Duration
		got := 0.0
		for _, p := range s.Zones["bench"].Since(from) {
			length += p.Duration
			got += (p.From.HumidityPct + p.To.HumidityPct) / 2 * p.Duration.Seconds()
		}
		if length != at.Sub(from) {
			t.Fatalf("the path from %v is %v long, want %v", from, length, at.Sub(from))
		}
		if length > 0 && math.Abs(got-exact)/length.Seconds() > 0.5 {
			t.Fatalf("the path's mean differs by %v %% RH", math.Abs(got-exact)/length.Seconds())
		}
	})
}

func TestApplyLeavesTheOldStateAlone(t *testing.T) {
	s := NewState("j")
	for _, b := range []Body{
		Started{GapKnown: true}, AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: airpath.Unmeasured},
		AlarmRaised{Name: "clock", Subject: "bench-1"}, CanMade{Can: "ink-1", Part: "ink", Material: "dial-satin"},
	} {
		s = Apply(s, Record{Seq: s.Seq + 1, Stamp: Stamp{At: noon}, Body: b})
	}
	before, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	for kind, body := range everyBody(t) {
		Apply(s, Record{Seq: s.Seq + 1, Stamp: Stamp{At: noon.Add(time.Hour)}, Body: body, Answer: &Answer{Key: "k", Body: json.RawMessage("{}")}})
		after, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if string(after) != string(before) {
			t.Fatalf("applying %s altered the state it was applied to", kind)
		}
	}
}
