package journal

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/journal/journaltest"
	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/lifecycle"
)

// testdata/old holds a journal with each of 46 kinds of record, and the state that the program which
// wrote it loads from it. That program was commit 203d4fa. A simulated shop was driven by
// a clock turned by hand: cans, a guided mix with a tare and an undone pour, a split, a
// top-up, an undo, alarms, maintenance, learned inks, a power cut with an unset clock. The
// newest checkpoint holds an open batch; 25 records come after it.
//
// The files are never made again. They stand for the journals that are in use.
const (
	oldJournal = "testdata/old/journal.sqlite.gz"
	oldState   = "testdata/old/state.json"
	oldKinds   = 46
)

// openOld opens a copy of the old journal.
func openOld(t *testing.T) (j *Journal, dir string) {
	t.Helper()
	dir = t.TempDir()
	journaltest.Unpack(t, oldJournal, filepath.Join(dir, FileName))
	return openAt(t, dir), dir
}

// replayed returns the state by all records from the first, without a checkpoint.
func replayed(t *testing.T, j *Journal) record.State {
	t.Helper()
	s := record.NewState(j.ID())
	if err := j.Each(t.Context(), func(r record.Record) error {
		s = record.Apply(s, r)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return s
}

// shared returns a state as JSON without what versions after 203d4fa derive in addition. A
// checkpoint of before does not have it: whether a batch has been on a press, and the numbers of
// the events that recorded its pours and its tests.
func shared(t *testing.T, s record.State) any {
	t.Helper()
	var strip func(v any) any
	strip = func(v any) any {
		switch v := v.(type) {
		case map[string]any:
			delete(v, "used")
			for _, key := range []string{"pours", "tests"} {
				list, _ := v[key].([]any)
				for _, of := range list {
					delete(of.(map[string]any), "seq")
				}
			}
			for key, inner := range v {
				v[key] = strip(inner)
			}
		case []any:
			for i, inner := range v {
				v[i] = strip(inner)
			}
		}
		return v
	}
	return strip(jsonValue(t, s))
}

func loaded(t testing.TB, j *Journal) record.State {
	t.Helper()
	s, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestAnOldJournalGivesTheStateThatItsProgramHad(t *testing.T) {
	text, err := os.ReadFile(oldState)
	if err != nil {
		t.Fatal(err)
	}
	j, _ := openOld(t)
	want := decoded(t, text).(map[string]any)
	answers := want["answers"].(map[string]any) // they lie with their events now
	delete(want, "answers")
	if err := j.Answers(t.Context(), time.Time{}, 100, func(seq uint64, a record.Answer) {
		r, err := j.Event(t.Context(), seq)
		if err != nil {
			t.Fatal(err)
		}
		for _, difference := range differences("answer "+a.Key, answers[a.Key], jsonValue(t, r.Answer)) {
			t.Error(difference)
		}
		delete(answers, a.Key)
	}); err != nil || len(answers) != 0 {
		t.Errorf("answers that are not found: %v (%v)", answers, err)
	}
	for from, s := range map[string]record.State{"the checkpoint": loaded(t, j), "the beginning": replayed(t, j)} {
		for _, difference := range differences("state", want, shared(t, s)) {
			t.Errorf("from %s: %s", from, difference)
		}
	}
}

// Every field of an old body is still known: written out again it says the same.
func TestOldBodiesLoseNothing(t *testing.T) {
	j, _ := openOld(t)
	rows, err := j.db().Query(`SELECT kind, body FROM record ORDER BY place`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	kinds := map[string]bool{}
	for rows.Next() {
		var kind string
		var body []byte
		if err := rows.Scan(&kind, &body); err != nil {
			t.Fatal(err)
		}
		kinds[kind] = true
		b, err := record.DecodeBody(record.Kind(kind), body)
		if err != nil {
			t.Fatal(err)
		}
		for _, difference := range differences(kind, decoded(t, body), jsonValue(t, b)) {
			t.Error(difference)
		}
	}
	if err := rows.Err(); err != nil || len(kinds) != oldKinds {
		t.Errorf("%d kinds of record, want %d (%v)", len(kinds), oldKinds, err)
	}
}

// A journal of before is continued by events of today, and both ways of reading it give
// the state that was live.
func TestAnOldJournalGoesOn(t *testing.T) {
	j, dir := openOld(t)
	live := loaded(t, j)
	var open, mixing, press string
	for id, b := range live.Batches {
		if b.Phase == lifecycle.Mixing {
			mixing = id
		} else if b.Press == "press-a" {
			open, press = id, b.Press
		}
	}
	if open == "" || mixing == "" {
		t.Fatalf("the old state has no batch on press-a or none that is mixed: %v", live.Batches)
	}
	air2 := air.State{TemperatureC: 23.4, HumidityPct: 68}
	zone := live.Zones[live.Batches[open].Zone]
	var failed record.Body = record.SensorVerified{Sensor: "wall", HumidityPct: 60, Read: &air2, Failed: true, AllowedPct: 4}
	var records []record.Record
	next := func(body record.Body) {
		r := record.Record{By: "tester", Body: body, Stamp: live.Last}
		r.Stamp.At, r.Stamp.Mono = r.Stamp.At.Add(10*time.Second), r.Stamp.Mono+10*time.Second
		if r.IsEvent() {
			r.Seq = live.Seq + 1
		}
		records = append(records, r)
		live = record.Apply(live, r)
	}
	next(record.AirStep{Zone: live.Batches[open].Zone, Start: zone.Until, After: air2, ReadAt: zone.Until.Add(5 * time.Second),
		Step: cure.Step{Duration: 5 * time.Second, From: zone.Air, To: air2, Kind: cure.Measured}})
	next(failed)
	next(record.Good{Batch: open})
	next(record.Printed{Press: press, Batch: open, Add: 12})
	next(record.Unloaded{Batch: open, Press: press, Zone: live.Batches[open].Zone, Place: live.Batches[open].Basis.Place})
	next(record.Abandoned{Batch: mixing, Ink: live.Batches[mixing].Ink, WasteG: 35.25})
	if err := j.Write(Group{Records: records[:3]}); err != nil {
		t.Fatal(err)
	}
	check := func(when string) {
		t.Helper()
		for from, s := range map[string]record.State{"the checkpoint": loaded(t, j), "the beginning": replayed(t, j)} {
			for _, difference := range differences("state", shared(t, live), shared(t, s)) {
				t.Errorf("%s, from %s: %s", when, from, difference)
			}
		}
	}
	if err := j.Write(Group{Records: records[3:], Checkpoint: &live}); err != nil {
		t.Fatal(err)
	}
	check("with a checkpoint of today")
	next(record.Closed{Batch: open, Ink: live.Closed[0].Ink, Outcome: "used-up", StillGood: "yes", Seen: "now"})
	if err := j.Write(Group{Records: records[len(records)-1:]}); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	check("opened again")
}

// --- comparing

func decoded(t *testing.T, text []byte) any {
	t.Helper()
	var v any
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber() // nanoseconds have more digits than a float
	if err := d.Decode(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func jsonValue(t *testing.T, v any) any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return decoded(t, text)
}

// differences compares two JSON values field by field and returns what differs, each with
// its path. Whole numbers and texts are the same to the digit. Fractions are the same to
// 1e-9 of their size: a processor that fuses a multiplication and an addition rounds once
// where another rounds twice. The lists of an ensemble, which are base64 of such fractions, are
// compared like fractions.
func differences(path string, want, got any) []string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			break
		}
		var all []string
		for name, v := range w {
			if _, there := g[name]; !there {
				all = append(all, fmt.Sprintf("%s.%s is missing, want %v", path, name, v))
				continue
			}
			all = append(all, differences(path+"."+name, v, g[name])...)
		}
		for name, v := range g {
			if _, there := w[name]; !there {
				all = append(all, fmt.Sprintf("%s.%s is %v, want nothing", path, name, v))
			}
		}
		return all
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			break
		}
		var all []string
		for i := range w {
			all = append(all, differences(fmt.Sprintf("%s[%d]", path, i), w[i], g[i])...)
		}
		return all
	case json.Number:
		if g, ok := got.(json.Number); ok && sameNumber(w, g) {
			return nil
		}
	case string:
		if g, ok := got.(string); ok && (g == w || sameFloats(w, g)) {
			return nil
		}
	default:
		if got == want {
			return nil
		}
	}
	return []string{fmt.Sprintf("%s is %.200v, want %.200v", path, got, want)}
}

func sameNumber(a, b json.Number) bool {
	if a == b {
		return true
	}
	if _, err := a.Int64(); err == nil {
		if _, err := b.Int64(); err == nil {
			return false
		}
	}
	x, errX := a.Float64()
	y, errY := b.Float64()
	return errX == nil && errY == nil && near(x, y)
}

func near(x, y float64) bool { return math.Abs(x-y) <= 1e-9*math.Max(math.Abs(x), math.Abs(y)) }

// sameFloats reports whether two texts are lists of floats as an ensemble writes them, of the
// same values.
func sameFloats(a, b string) bool {
	x, errX := base64.StdEncoding.DecodeString(a)
	y, errY := base64.StdEncoding.DecodeString(b)
	if errX != nil || errY != nil || len(x) != len(y) || len(x) < 64 || len(x)%8 != 0 {
		return false
	}
	for ; len(x) > 0; x, y = x[8:], y[8:] {
		if !near(math.Float64frombits(binary.LittleEndian.Uint64(x)), math.Float64frombits(binary.LittleEndian.Uint64(y))) {
			return false
		}
	}
	return true
}

func TestDifferencesAreSeen(t *testing.T) {
	for _, pair := range [][2]string{
		{`{"a":1}`, `{"a":2}`}, {`{"a":1}`, `{}`}, {`{}`, `{"a":1}`}, {`[1]`, `[1,2]`}, {`"x"`, `"y"`},
		{`{"a":{"b":[0.5]}}`, `{"a":{"b":[0.50001]}}`}, {`null`, `0`}, {`true`, `false`}, {`1781020800000000001`, `1781020800000000002`},
	} {
		if len(differences("it", decoded(t, []byte(pair[0])), decoded(t, []byte(pair[1])))) == 0 {
			t.Errorf("%s and %s are taken for the same", pair[0], pair[1])
		}
	}
	if d := differences("it", decoded(t, []byte(`{"a":0.1}`)), decoded(t, []byte(`{"a":0.10000000000001}`))); len(d) != 0 {
		t.Errorf("a rounding error is a difference: %v", d)
	}
}
