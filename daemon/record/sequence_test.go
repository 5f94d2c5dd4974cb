package record

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/adhesion"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/viscosity"
)

// sequence is a state with a second one beside it, which gets the same records as they are stored, and is written and
// read again as a checkpoint now and then.
type sequence struct {
	*rapid.T
	state, twin State
	at          time.Time
	kept        State // an earlier state, with its text then
	text        string
}

func (q *sequence) does(body Body) {
	q.Helper()
	r := Record{Stamp: Stamp{At: q.at, Synced: true}, By: "anna", Body: body}
	if r.IsEvent() {
		r.Seq = q.state.Seq + 1
	}
	stored, err := r.Stored()
	if err != nil {
		q.Fatal(err)
	}
	q.state = Apply(q.state, r)
	if r.Body, err = DecodeBody(body.Kind(), stored); err != nil {
		q.Fatal(err)
	}
	q.twin = Apply(q.twin, r)
}

func (q *sequence) json(s State) string {
	q.Helper()
	b, err := json.Marshal(s)
	if err != nil {
		q.Fatal(err)
	}
	return string(b)
}

// checkpoint compares the states and lets the twin go on from a checkpoint.
func (q *sequence) checkpoint() {
	text := q.json(q.state)
	if twin := q.json(q.twin); twin != text {
		q.Fatalf("from a checkpoint the state is\n%s\nand was\n%s", twin, text)
	}
	if q.text != "" && q.json(q.kept) != q.text {
		q.Fatalf("a later record has altered an earlier state")
	}
	q.kept, q.text, q.twin = q.state, text, State{}
	if err := json.Unmarshal([]byte(text), &q.twin); err != nil {
		q.Fatal(err)
	}
}

// air closes a step of the air, which takes some seconds.
func (q *sequence) air() {
	d := time.Duration(rapid.SampledFrom([]int{1, 4, 9, 1800}).Draw(q.T, "seconds")) * time.Second
	a := air.State{TemperatureC: rapid.Float64Range(15, 35).Draw(q.T, "t"), HumidityPct: rapid.Float64Range(20, 80).Draw(q.T, "rh")}
	z := q.state.Zones["bench"]
	begin := q.at
	q.at = q.at.Add(d)
	q.does(AirStep{Zone: "bench", Start: begin, Step: cure.Step{Duration: d, Kind: cure.Measured, From: z.Air, To: a}, After: a, ReadAt: q.at})
}

// open draws an open batch; nil for none.
func (q *sequence) open() *Batch {
	ids := slices.Sorted(maps.Keys(q.state.Batches))
	if len(ids) == 0 {
		return nil
	}
	return q.state.Batches[rapid.SampledFrom(ids).Draw(q.T, "batch")]
}

func (q *sequence) flow() {
	b := q.open()
	if b == nil {
		return
	}
	e := FlowTimed{Batch: b.ID, Cup: "ford-4", Curve: viscosity.Assumed(), Sample: viscosity.Sample{
		RunSpread: 0.02, CommonSpread: 0.04, TemperatureC: rapid.Float64Range(15, 35).Draw(q.T, "ink"), ThinnerSd: 0.3, Cup: "ford-4",
	}}
	for range rapid.IntRange(1, 2).Draw(q.T, "runs") {
		e.Sample.LnRuns = append(e.Sample.LnRuns, rapid.Float64Range(4, 6).Draw(q.T, "ln"))
		e.RunsS = append(e.RunsS, 50)
	}
	if len(b.Flows) > 0 && rapid.Bool().Draw(q.T, "corrects") {
		e.Corrects = rapid.SampledFrom(b.Flows).Draw(q.T, "flow").Seq
	}
	q.does(e)
}

func (q *sequence) test() {
	e := Tested{Batch: rapid.SampledFrom([]string{"0612-1", "0612-2"}).Draw(q.T, "batch"), Test: rapid.SampledFrom([]string{"adhesion", "rub", "other"}).Draw(q.T, "test"), Result: rapid.SampledFrom([]string{"pass", "fail"}).Draw(q.T, "result")}
	b, _ := q.state.Find(e.Batch)
	if b.Phase == lifecycle.Closed || rapid.Bool().Draw(q.T, "printed") {
		e.PrintedAt, e.Spent = q.at, rapid.Float64Range(0.1, 1).Draw(q.T, "spent")
		e.AgeH = 5 * e.Spent
	}
	if len(b.Tests) > 0 && rapid.Bool().Draw(q.T, "corrects") {
		e.Corrects = rapid.SampledFrom(b.Tests).Draw(q.T, "of").Seq
	}
	q.does(e)
}

// undo takes a change back: flow times and tests of its batches are as before it.
func (q *sequence) undo() {
	if len(q.state.Undoables) == 0 {
		return
	}
	u := rapid.SampledFrom(q.state.Undoables).Draw(q.T, "undoable")
	if len(u.Batches) == 0 { // a test of a batch that is closed
		return
	}
	ids := slices.Sorted(maps.Keys(u.Batches))
	tests := map[string][]Test{} // before the change, or of a batch that is closed since also after it
	for _, id := range ids {
		if now, _ := q.state.Find(id); now.Phase == lifecycle.Closed {
			tests[id] = now.Tests
		} else {
			tests[id] = u.Batches[id].Tests
		}
	}
	q.does(Undone{Batch: ids[0], Undoes: u.Seq, Of: u.Kind, Batches: ids, Presses: slices.Sorted(maps.Keys(u.Presses))})
	for _, id := range ids {
		was, is := u.Batches[id], q.state.Batches[id]
		if len(is.Tests) != len(tests[id]) || len(is.Flows) != len(was.Flows) || len(is.Ensemble.Heard()) != len(was.Ensemble.Heard()) {
			q.Fatalf("%s undone: %d tests, %d flow times and %d heard; want %d, %d and %d", u.Kind,
				len(is.Tests), len(is.Flows), len(is.Ensemble.Heard()), len(tests[id]), len(was.Flows), len(was.Ensemble.Heard()))
		}
	}
}

// jars draws a record about the test of an ink in jars, also one that no test is there for.
func (q *sequence) jars() {
	e := JarLooked{Ink: rapid.SampledFrom([]string{"dial-satin", "dial-flat"}).Draw(q.T, "ink"), Jar: rapid.IntRange(1, 2).Draw(q.T, "jar"), At: q.at}
	e.AgeH = rapid.Float64Range(0.1, 9).Draw(q.T, "age")
	good, gone := e, e
	good.Seen, gone.Seen = JarGood, JarGoneOff
	q.does(rapid.SampledFrom([]Body{
		JarsStarted{Ink: e.Ink, MixedAt: q.at, Jars: []PlannedJar{{TemperatureC: 35, HumidityPct: 32, ExpectedH: 3}, {TemperatureC: 21, HumidityPct: 45, Open: true, ExpectedH: 6}}},
		good, gone, good, gone, JarLooked{Ink: e.Ink, Jar: e.Jar, Seen: JarMistake}, JarsEnded{Ink: e.Ink, Counts: true}, JarsEnded{Ink: e.Ink},
	}).Draw(q.T, "body"))
}

// holds checks what holds for every state: the tests of an ink are those of its batches, and only those that count.
func (q *sequence) holds() {
	want := map[string][]uint64{}
	for _, id := range []string{"0612-1", "0612-2"} {
		b, known := q.state.Find(id)
		if !known {
			q.Fatalf("batch %s is lost", id)
		}
		for _, t := range b.Tests {
			if !t.PrintedAt.IsZero() && t.Kind != "other" {
				want[b.Ink] = append(want[b.Ink], t.Seq)
			}
		}
		if b.Ensemble != nil && len(b.Ensemble.Heard()) > len(b.Flows) {
			q.Fatalf("batch %s has heard %d flow times of %d", id, len(b.Ensemble.Heard()), len(b.Flows))
		}
	}
	for ink, tests := range q.state.AdhesionTests {
		got := []uint64{}
		for _, t := range tests {
			got = append(got, t.Seq)
		}
		slices.Sort(got)
		slices.Sort(want[ink])
		if len(want[ink]) <= adhesion.MaxTests && !slices.Equal(got, want[ink]) {
			q.Fatalf("the tests %v count for the adhesion of %s; its batches have %v", got, ink, want[ink])
		}
	}
	for ink, tests := range q.state.JarTests {
		if len(tests) > keptJarTests {
			q.Fatalf("%d tests of %s are kept", len(tests), ink)
		}
		for _, t := range tests {
			if n := len(t.Evidence().Jars); n > len(t.Started.Jars) || n > len(t.Looks) {
				q.Fatalf("%d jars of %d tell something after %d looks", n, len(t.Started.Jars), len(t.Looks))
			}
		}
	}
}

// TestAnyOrderOfLooksAndTests: whatever people see of jars, measure of batches, test of prints and take back, a state from a
// checkpoint is the same as one from all records, no earlier state changes, and an undo leaves nothing of what it undoes.
func TestAnyOrderOfLooksAndTests(t *testing.T) {
	ink, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		q := &sequence{T: rt, state: NewState("j"), twin: NewState("j"), at: noon}
		q.does(AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: air.State{TemperatureC: 20, HumidityPct: 50}, ReadAt: noon})
		for i, of := range []string{"dial-satin", "dial-flat"} {
			q.does(Recorded{Batch: []string{"0612-1", "0612-2"}[i], Day: "20260612", Ink: of, Zone: "bench", MixedAt: noon, Mix: guide.Mix{Recipe: guide.Recipe{Ratio: 5}, Step: guide.Load},
				Basis: Basis{Life: ink, Place: cure.Place{Exposure: 1, Lag: time.Minute}}})
		}
		rt.Repeat(map[string]func(*rapid.T){
			"air": func(*rapid.T) { q.air() }, "flow time": func(*rapid.T) { q.flow() }, "test": func(*rapid.T) { q.test() }, "undo": func(*rapid.T) { q.undo() },
			"jars": func(*rapid.T) { q.jars() }, "checkpoint": func(*rapid.T) { q.checkpoint() },
			"good": func(*rapid.T) {
				if b := q.open(); b != nil {
					q.does(Good{Batch: b.ID})
				}
			},
			"close": func(*rapid.T) {
				if b := q.open(); b != nil {
					q.does(Closed{Batch: b.ID, Outcome: "went-off", Seen: "now"})
				}
			},
			"": func(*rapid.T) { q.holds() },
		})
		q.checkpoint()
	})
}
