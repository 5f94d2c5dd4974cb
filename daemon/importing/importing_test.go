package importing

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/paper"
	"potlifed/daemon/record"
	"potlifed/model/jars"
	"potlifed/model/learn"
)

var known = Known{
	Bench: "bench-1", Zones: []string{"bench", "hall"}, Presses: []string{"press-1", "press-2"}, Kinds: []string{"pinholes", "dust"}, Inks: []string{"dial-satin", "=dial"}, Zone: time.UTC,
	Now: time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC),
}

// shop is a data directory with a journal and a history.
type shop struct {
	t   *testing.T
	dir string
	j   *journal.Journal
}

func newShop(t *testing.T, bodies ...record.Body) shop {
	t.Helper()
	s := shop{t: t, dir: t.TempDir()}
	j, err := journal.Open(s.dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	s.j = j
	var g journal.Group
	for i, b := range bodies {
		at := time.Date(2026, 6, 12, 9, i, 0, 0, time.UTC)
		g.Records = append(g.Records, record.Record{Seq: uint64(i + 1), Stamp: record.Stamp{At: at, Boot: "b", Synced: true}, By: "anna", Body: b})
	}
	if err := j.Write(g); err != nil {
		t.Fatal(err)
	}
	h := history.New(history.Settings{Dir: s.dir, Journal: j, Log: slog.New(slog.DiscardHandler)})
	if err := h.Fresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(h.Save(t.Context()), h.Close()); err != nil {
		t.Fatal(err)
	}
	return s
}

// file writes a file and returns its path.
func (s shop) file(name, text string) string {
	s.t.Helper()
	path := filepath.Join(s.t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

func (s shop) imports(files ...string) error {
	_, err := Files(s.t.Context(), s.dir, files, known, false, func(string, float64) {})
	return err
}

// holds returns what the history holds, in short.
func (s shop) holds() string {
	s.t.Helper()
	h, err := history.OpenToRead(s.t.Context(), s.dir, s.j)
	if err != nil {
		s.t.Fatal(err)
	}
	defer h.Close()
	step, err := history.StepOf("day", time.UTC)
	if err != nil {
		s.t.Fatal(err)
	}
	find := history.Search{From: known.Now.AddDate(-2, 0, 0), To: known.Now}
	var out []string
	prints, err := h.PrintsIn(s.t.Context(), find, step, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, p := range prints {
		out = append(out, fmt.Sprintf("%s %d prints %s", p.Press, p.Prints, p.Source))
	}
	defects, err := h.DefectsIn(s.t.Context(), find, step, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, d := range defects {
		out = append(out, fmt.Sprintf("%s %d %s %s", d.Press, d.Defects, d.Kind, d.Source))
	}
	batches, err := h.Batches(s.t.Context(), find, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, b := range batches {
		out = append(out, fmt.Sprintf("batch %s %s prints %d of %s %v s", b.ID, b.Source, b.Prints, b.Ink, *b.AgeS))
	}
	air, err := h.ZoneAir(s.t.Context(), "hall", find.From, find.To, step, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, a := range air {
		out = append(out, fmt.Sprintf("hall %v °C %v %% for %v s %s", a.TemperatureC, a.HumidityPct, a.KnownS, a.Source))
	}
	tested, err := h.Jars(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	for _, j := range tested {
		out = append(out, fmt.Sprintf("jar %d of %s, mix %s at %s: %v %v to %v h, open %v", j.Number, j.Ink, j.Mix, j.MixedAt.Format(time.RFC3339), j.Air, j.GoodH, j.GoneOffH, j.Open))
	}
	return strings.Join(out, "; ")
}

const (
	climes  = "time,zone,temperature_c,humidity_pct\n2025-06-12T08:00:00Z,hall,20,40\n2025-06-12T09:00:00Z,hall,22,40\n2025-06-12T14:00:00Z,hall,30,40\n2025-06-12T14:30:00Z,hall,30,40\n"
	batches = "id,ink,mixed_at,closed_at,outcome,still_good,zone\n0612-1,dial-satin,2025-06-12T08:00:00Z,2025-06-12T10:00:00Z,used-up,yes,hall\n'=1,dial-satin,2025-06-13T08:00:00Z,2025-06-13T09:00:00Z,went-off,,\n"
	prints  = "time,press,prints,batch\n2025-06-12T08:10:00Z,press-1,100,0612-1\n2025-06-12T08:11:00Z,press-1,50,0612-1\n2025-06-12T09:00:00Z,press-1,70,0612-1\n"
	tests   = "jar,salt,ink,mixed_at,mix,temperature_c,humidity_pct,open,last_good_h,gone_off_h\n1,,dial-satin,2025-06-12T08:00:00+02:00,'=1,20,33,,8.5,8.7\n2,,dial-satin,2025-06-12T08:00:00+02:00,'=1,35,75,,,\n3,,'=dial,2025-06-12T08:00:00+02:00,'=1,35,75,yes,2.5,\n"
	defects = "time,press,kind,defects,batch\n2025-06-12T08:10:00Z,press-1,pinholes,3,0612-1\n2025-06-12T08:12:00Z,press-1,dust,0,0612-1\n"
)

// TestPaperRecords: they are in the answers, marked, and the journal is as before.
func TestPaperRecords(t *testing.T) {
	s := newShop(t, record.Started{GapKnown: true})
	if err := s.imports(s.file("air.csv", climes), s.file("batches.csv", batches), s.file("prints.csv", prints), s.file("defects.csv", "\xef\xbb\xbf"+defects), s.file("jars.csv", tests)); err != nil {
		t.Fatal(err)
	}
	// From 8 to 9 the mean is 21 °C; nothing is known from 9 to 14; then half an hour of 30 °C.
	want := "press-1 220 prints paper; press-1 3 pinholes paper; batch 0612-1 paper prints 220 of dial-satin 7200 s; batch =1 paper prints 0 of dial-satin 3600 s; hall 24 °C 40 % for 5400 s paper; " +
		"jar 3 of =dial, mix =1 at 2025-06-12T06:00:00Z: {35 75} 2.5 to 0 h, open true; jar 1 of dial-satin, mix =1 at 2025-06-12T06:00:00Z: {20 33} 8.5 to 8.7 h, open false"
	if got := s.holds(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	state, err := s.j.Load(t.Context())
	if err != nil || state.Seq != 1 || len(state.Closed) != 0 || len(state.Prints) != 0 || len(state.JarTests) != 0 {
		t.Errorf("%+v %v", state, err)
	}
}

// TestTheSameFileTwice is refused, also under another name, and nothing is doubled; so are rows that
// were in another file.
func TestTheSameFileTwice(t *testing.T) {
	s := newShop(t)
	if err := s.imports(s.file("prints.csv", prints), s.file("air.csv", climes), s.file("batches.csv", batches), s.file("jars.csv", tests)); err != nil {
		t.Fatal(err)
	}
	before := s.holds()
	for name, files := range map[string][]string{
		"prints.csv: it was imported before":                                      {s.file("prints.csv", prints)},
		"other.csv: it was imported before, as prints.csv on 2026-11-29":          {s.file("defects.csv", defects), s.file("other.csv", prints)},
		"more.csv: row 4, column prints: it was imported before":                  {s.file("more.csv", "time,press,prints,batch\n2025-06-12T07:10:00Z,press-1,5,0612-1\n2025-06-12T07:50:00Z,press-1,5,\n2025-06-12T09:01:00Z,press-1,1,0612-1\n")},
		"wet.csv: row 3, column time: it was imported before":                     {s.file("wet.csv", "time,zone,temperature_c,humidity_pct\n2025-06-12T07:00:00Z,hall,20,40\n2025-06-12T08:00:00Z,hall,20,40\n")},
		"jars.csv: it was imported before":                                        {s.file("jars.csv", tests)},
		"late.csv: row 3, column mixed_at: it was imported before":                {s.file("late.csv", jarHead+"dial-satin,2025-06-12T07:50:00Z,,20,33,8,9\ndial-satin,2025-06-12T06:20:00Z,=1,20,33,8,9\n")},
		"again.csv: row 2, column id: it was imported before":                     {s.file("again.csv", "id,ink,mixed_at,closed_at,outcome\n0612-1,dial-satin,2025-06-12T08:00:00Z,2025-06-12T11:00:00Z,used-up\n")},
		"twice.csv: it was imported before, as twice.csv on 2026-11-29T12:00:00Z": {s.file("twice.csv", "time,press,prints\n2025-07-12T07:10:00Z,press-1,5\n"), s.file("twice.csv", "time,press,prints\n2025-07-12T07:10:00Z,press-1,5\n")},
	} {
		err := s.imports(files...)
		var wrong *paper.FormatError
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), name) {
			t.Errorf("%v; want %s", err, name)
		}
		if got := s.holds(); got != before {
			t.Fatalf("%s: changed to\n%s", name, got)
		}
	}
}

// TestUndo: the history is as it was before the imports, which may then be made again; all are undone, or
// none.
func TestUndo(t *testing.T) {
	s := newShop(t, record.Started{GapKnown: true}, record.Printed{Press: "press-1", Add: 10})
	if err := s.imports(s.file("first.csv", "time,zone,temperature_c,humidity_pct\n2025-06-12T07:00:00Z,hall,10,40\n2025-06-12T08:15:00Z,hall,10,40\n"), s.file("more.csv", "time,press,prints\n2025-06-12T09:10:00Z,press-1,4\n")); err != nil {
		t.Fatal(err)
	}
	before := s.holds()
	again := func() (files []string) {
		return []string{s.file("air.csv", climes), s.file("batches.csv", batches), s.file("prints.csv", prints), s.file("defects.csv", defects), s.file("jars.csv", tests)}
	}
	if err := s.imports(again()...); err != nil {
		t.Fatal(err)
	}
	after := s.holds()
	list, err := history.Imports(t.Context(), s.dir)
	if err != nil || len(list) != 7 || list[2].What != "air" || list[2].Rows != 4 || list[2].Undone != nil {
		t.Fatalf("%+v %v", list, err)
	}
	undo := func(ids ...int64) error {
		_, err := history.UndoImports(t.Context(), s.dir, ids, time.Now())
		return err
	}
	if err := undo(3, 4, 99); !errors.Is(err, history.ErrNoImport) || s.holds() != after {
		t.Errorf("%v; %s", err, s.holds())
	}
	if err := undo(3, 4, 5, 6, 7); err != nil || s.holds() != before {
		t.Errorf("%v\n%s\n%s", err, s.holds(), before)
	}
	if err := undo(3); !errors.Is(err, history.ErrUndone) {
		t.Error(err)
	}
	if err := s.imports(again()...); err != nil || s.holds() != after {
		t.Errorf("%v\n%s\n%s", err, s.holds(), after)
	}
	if list, err = history.Imports(t.Context(), s.dir); err != nil || len(list) != 12 || list[2].Undone == nil || list[11].Undone != nil {
		t.Errorf("%+v %v", list, err)
	}
}

// TestWhatTheBenchCounted is not imported beside it.
func TestWhatTheBenchCounted(t *testing.T) {
	s := newShop(t, record.Started{GapKnown: true}, record.Printed{Press: "press-1", Add: 10})
	before := s.holds()
	err := s.imports(s.file("p.csv", "time,press,prints\n2026-06-12T09:05:00Z,press-1,5\n"))
	if err == nil || !strings.Contains(err.Error(), "p.csv: row 2, column prints: the bench recorded it itself") {
		t.Error(err)
	}
	if s.holds() != before {
		t.Error(s.holds())
	}
	if err := s.imports(s.file("p.csv", "time,press,prints\n2026-06-12T09:05:00Z,press-2,5\n")); err != nil {
		t.Error(err)
	}
}

// jarHead are the columns of jars that an import needs, and the name of the mix.
const jarHead = "ink,mixed_at,mix,temperature_c,humidity_pct,last_good_h,gone_off_h\n"

// TestJarsThatTheBenchRecorded are not imported beside it, and a test of another ink or time is.
func TestJarsThatTheBenchRecorded(t *testing.T) {
	mixed := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	s := newShop(t, record.Started{GapKnown: true}, record.JarsStarted{Ink: "dial-satin", MixedAt: mixed, Jars: []record.PlannedJar{{TemperatureC: 20, HumidityPct: 33}}},
		record.JarLooked{Ink: "dial-satin", Jar: 1, Seen: record.JarGood, At: mixed.Add(time.Hour), AgeH: 1}, record.JarsEnded{Ink: "dial-satin", Counts: true})
	err := s.imports(s.file("jars.csv", jarHead+"=dial,2026-06-12T08:00:00Z,1,20,33,8,9\ndial-satin,2026-06-12T10:10:00+02:00,1,20,33,8,9\n"))
	if err == nil || !strings.Contains(err.Error(), "jars.csv: row 3, column mixed_at: the bench recorded it itself, as begun at 2026-06-12T08:00:00Z") || s.holds() != "" {
		t.Error(err, s.holds())
	}
	if err := s.imports(s.file("jars.csv", jarHead+"=dial,2026-06-12T08:00:00Z,1,20,33,8,9\ndial-satin,2026-06-12T11:10:00+02:00,1,20,33,8,9\n")); err != nil {
		t.Error(err)
	}
}

func TestFaultsNameRowAndColumn(t *testing.T) {
	s := newShop(t)
	const p, d, a, b = "time,press,prints\n", "time,press,kind,defects\n", "time,zone,temperature_c,humidity_pct\n", "id,ink,mixed_at,closed_at,outcome\n"
	const at, j, jar = "2025-06-12T08:00:00Z,", jarHead, "dial-satin,2025-06-12T08:00:00Z"
	for _, c := range []struct{ text, want string }{
		{"", "the file is empty"},
		{"when,who\n", "row 1: want the columns"},
		{"time;press;prints\n", "separated by semicolons"},
		{p, "no rows below the header"},
		{p + at + "press-9,1\n", `row 2, column press: there is no press "press-9"`},
		{p + at + ",1\n", "row 2, column press: no value"},
		{p + at + "press-1,-1\n", "row 2, column prints: -1 is outside 0"},
		{p + at + "press-1,1.5\n", "row 2, column prints: 1.5 is not a whole number"},
		{p + at + "press-1,\n", "row 2, column prints: no value"},
		{p + at + "press-1,1e300\n", "row 2, column prints"},
		{p + at + "press-1,NaN\n", "row 2, column prints"},
		{p + "12.6.2025 8:00,press-1,1\n", "row 2, column time"},
		{p + "2027-06-12T08:00:00Z,press-1,1\n", "row 2, column time: 2027-06-12T08:00:00Z is in the future"},
		{p + at + "press-1,1\n2025-06-12T07:59:00Z,press-1,1\n", "row 3, column time: 2025-06-12T07:59:00Z comes after"},
		{p + at + "press-1\n", "row 2: not as many values"},
		{p + at + "\"press-1,1\n", "row 2, character"},
		{d + at + "press-1,wet,1\n", `row 2, column kind: there is no kind of defect "wet"`},
		{d + at + "press-1,dust,-1\n", "row 2, column defects: -1 is outside"},
		{"time,press,prints,kind,defects\n" + at + "press-1,5,dust,6\n", "row 2, column defects: 6 rejects among 5 prints"},
		{a + at + "cellar,20,40\n", `row 2, column zone: there is no zone "cellar"`},
		{a + at + "hall,20,140\n", "row 2, column humidity_pct: 140 is outside"},
		{a + at + "hall,20,40\n" + at + "hall,20,40\n", "row 3, column time: 2025-06-12T08:00:00Z is there twice"},
		{b + "1,i,2025-06-12T08:00:00Z,2025-06-12T07:00:00Z,used-up\n", "row 2, column closed_at"},
		{b + "1,i,2025-06-12T08:00:00Z,2025-06-12T09:00:00Z,eaten\n", "row 2, column outcome"},
		{b + ",i,2025-06-12T08:00:00Z,2025-06-12T09:00:00Z,used-up\n", "row 2, column id"},
		{"mix,temperature_c,humidity_pct,last_good_h,gone_off_h\n1,20,33,8,9\n", "ink,mixed_at,temperature_c,humidity_pct,last_good_h,gone_off_h of jars"},
		{j + jar + ",,20,33,,\n", "no row has last_good_h or gone_off_h"},
		{j + "gold,2025-06-12T08:00:00Z,,20,33,8,9\n", `row 2, column ink: there is no ink "gold" in the configuration; it has dial-satin`},
		{j + "dial-satin,,1,20,33,8,9\n", "row 2, column mixed_at"},
		{j + "dial-satin,12.6.2025,1,20,33,8,9\n", "row 2, column mixed_at"},
		{j + "dial-satin,2027-06-12T08:00:00Z,1,20,33,8,9\n", "row 2, column mixed_at: 2027-06-12T08:00:00Z is in the future"},
		{j + "dial-satin,2026-11-29T08:00:00Z,1,20,33,8,90\n", "row 2, column gone_off_h: 90 h after 2026-11-29T08:00:00Z is in the future"},
		{j + jar + ",1,20,133,8,9\n", "row 2, column humidity_pct: 133 is outside"},
		{j + jar + ",1,20,33,9,8\n", "row 2, column gone_off_h: 8 h is not after last_good_h, 9 h"},
		{j + jar + ",1,20,33,0,8\n", "row 2, column last_good_h: it is 0"},
		{j + jar + ",1,20,33,8,9\ndial-satin,2025-06-13T08:00:00Z,1,20,33,8,9\n", `row 3, column mixed_at: mix "1" of dial-satin was mixed at 2025-06-12T08:00:00Z by x.csv: row 2`},
		{"jar," + j + "2," + jar + ",1,20,33,8,9\n2," + jar + ",1,20,33,8,9\n", `row 3, column jar: jar 2 of mix "1" is there twice, first in x.csv: row 2`},
		{"jar," + j + "1.5," + jar + ",1,20,33,8,9\n", "row 2, column jar: 1.5 is not a whole number"},
		{"jar," + j + "49," + jar + ",1,20,33,8,9\n", "row 2, column jar: 49 is outside 1 to 48"},
		{j + strings.Repeat(jar+",1,20,33,8,9\n", 49), `row 50, column mix: more than 48 jars of mix "1"`},
		{"open," + j + "half," + jar + ",1,20,33,8,9\n", `row 2, column open: "half"; want yes`},
		{"bench," + p + "bench-2," + at + "press-1,1\n", `row 2, column bench: the row is of "bench-2"`},
		{"source," + p + "bench," + at + "press-1,1\n", "row 2, column source: the bench recorded this row itself"},
	} {
		err := s.imports(s.file("x.csv", c.text))
		var wrong *paper.FormatError
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), "x.csv: ") || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v; want %s", c.text, err, c.want)
		}
	}
	if got := s.holds(); got != "" {
		t.Error(got)
	}
}

// TestMoreRejectsThanPrints of a press and day are refused, with what is imported together and what was before.
func TestMoreRejectsThanPrints(t *testing.T) {
	s := newShop(t)
	many := "time,press,kind,defects\n2025-06-12T08:10:00Z,press-1,pinholes,200\n2025-06-12T18:10:00Z,press-1,dust,30\n"
	want := "d.csv: row 2, column defects: press-1 has 230 rejects on 2025-06-12, and only 220 prints"
	if err := s.imports(s.file("prints.csv", prints), s.file("d.csv", many)); err == nil || !strings.Contains(err.Error(), want) {
		t.Error(err)
	}
	if got := s.holds(); got != "" {
		t.Error(got)
	}
	if err := s.imports(s.file("prints.csv", prints)); err != nil {
		t.Fatal(err)
	}
	if err := s.imports(s.file("d.csv", many)); err == nil || !strings.Contains(err.Error(), want) {
		t.Error(err)
	}
	if err := s.imports(s.file("d.csv", defects)); err != nil {
		t.Error(err)
	}
}

// TestNoHistory: the service makes it, under its own user.
func TestNoHistory(t *testing.T) {
	s := shop{t: t, dir: t.TempDir()}
	if err := s.imports(s.file("prints.csv", prints)); !errors.Is(err, history.ErrNoFile) {
		t.Error(err)
	}
	if _, err := Files(t.Context(), s.dir, []string{s.file("prints.csv", prints)}, known, true, func(string, float64) {}); err != nil {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{climes, batches, prints, defects, tests, jarHead + "dial-satin,2025-06-12T08:00:00Z,1,20,33,8,9\n", "time,press,prints,kind,defects\n2025-06-12T08:00:00Z,press-1,5,dust,3\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s := &sums{t: t}
		_, rows, err := read(t.Context(), "fuzz.csv", strings.NewReader(text), known, s)
		var wrong *paper.FormatError
		if err != nil && !errors.As(err, &wrong) {
			t.Fatalf("not a fault of the file: %v", err)
		}
		if err == nil && rows == 0 {
			t.Fatal("no rows and no error")
		}
	})
}

// sums checks what a sink gets.
type sums struct{ t *testing.T }

func (s *sums) air(_, zone string, r history.Reading) error {
	if zone != "bench" && zone != "hall" || r.Air.Valid() != nil {
		s.t.Fatalf("%s %+v", zone, r)
	}
	return nil
}

func (s *sums) count(_ string, p history.Pieces) error {
	if p.Number <= 0 || p.Number > mostPieces || p.Press != "press-1" && p.Press != "press-2" {
		s.t.Fatalf("%+v", p)
	}
	return nil
}

func (s *sums) batch(b history.Batch) error {
	if b.ID == "" || !b.ClosedAt.After(*b.MixedAt) {
		s.t.Fatalf("%+v", b)
	}
	return nil
}

func (s *sums) jar(j history.Jar) error {
	if j.Ink != "dial-satin" && j.Ink != "=dial" || j.Number < 1 || j.Number > jars.MaxJars || j.Air.Valid() != nil || !(j.GoodH > 0 || j.GoneOffH > 0) || j.GoneOffH > 0 && j.GoneOffH <= j.GoodH {
		s.t.Fatalf("%+v", j)
	}
	return nil
}

// TestImportedJarsAreEvidence of their ink, the newest twenty tests, and none of an ink without a data sheet.
func TestImportedJarsAreEvidence(t *testing.T) {
	s := newShop(t)
	text := jarHead + "=dial,2025-01-01T08:00:00Z,,20,33,8,9\n"
	for i := range 21 {
		text += fmt.Sprintf("dial-satin,2025-06-%02dT08:00:00Z,%d,20,33,8,9\ndial-satin,2025-06-%02dT08:00:00Z,%d,35,75,2,\n", i+1, i, i+1, i)
	}
	if err := s.imports(s.file("jars.csv", text)); err != nil {
		t.Fatal(err)
	}
	h, err := history.OpenToRead(t.Context(), s.dir, s.j)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	told, unknown, err := paper.Imported(t.Context(), h, func(ink string) (learn.Pair, bool) { return learn.Pair{Ink: ink}, ink == "dial-satin" }, 0)
	if err != nil || len(unknown) != 0 || len(told) != 1 {
		t.Fatalf("%+v %v %v", told, unknown, err)
	}
	tests := told[0].Pair.Jars
	if len(tests) != 20 || tests[0].ID != "2025-06-02T08:00:00Z 1" || len(tests[0].Jars) != 2 || tests[0].Jars[0].Kind != learn.Between || tests[0].Jars[1].Kind != learn.Alive || !tests[0].Jars[1].Still {
		t.Errorf("%d tests, the first %+v", len(tests), tests[0])
	}
	if both := paper.Merged(told, told); len(both) != 1 || len(both[0].Pair.Jars) != 40 || len(told[0].Pair.Jars) != 20 {
		t.Errorf("merged: %+v", both)
	}
}
