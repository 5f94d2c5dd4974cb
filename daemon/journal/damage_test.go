package journal

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// damagedShop writes a journal as a service leaves it that was killed: 60 alarms and 60 steps of
// air in turn, a checkpoint after the 40th and the 80th record, and all of it still in the log. It
// returns the folder and the state.
func damagedShop(t testing.TB) (dir string, want record.State) {
	t.Helper()
	work := t.TempDir()
	j := openAt(t, work)
	want = record.NewState(j.ID())
	at := time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)
	for i := range 60 {
		at = at.Add(time.Minute)
		stamp := record.Stamp{At: at, Boot: "boot", Mono: time.Duration(i+1) * time.Minute, Synced: true}
		records := []record.Record{
			{Seq: uint64(i + 1), Stamp: stamp, By: "bench", Body: record.AlarmRaised{
				Name: "sensor-stale", Subject: fmt.Sprintf("air-%d", i), Priority: "medium", Text: strings.Repeat("no reading ", 20),
			}},
			{Stamp: stamp, By: "bench", Body: record.AirStep{Zone: "hall", Start: at.Add(-time.Minute), Step: cure.Step{
				Duration: time.Minute, From: air.State{TemperatureC: 20, HumidityPct: 50}, To: air.State{TemperatureC: 20, HumidityPct: 51}, Kind: cure.Measured,
			}}},
		}
		g := Group{Records: records}
		want = applied(want, records)
		if i == 19 || i == 39 {
			g.Checkpoint = &want
		}
		if err := j.Write(g); err != nil {
			t.Fatal(err)
		}
	}
	// The writer is still open, so nothing is folded in: these are the files of a killed service.
	dir = t.TempDir()
	copyDir(t, work, dir)
	return dir, want
}

func copyDir(t testing.TB, from, to string) {
	t.Helper()
	names, err := os.ReadDir(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		data, err := os.ReadFile(filepath.Join(from, name.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if name.Name() == FileName+"-shm" {
			continue
		}
		if err := os.WriteFile(filepath.Join(to, name.Name()), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// folded makes the journal one file, as a service leaves it that was stopped.
func folded(t testing.TB, dir string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// sql runs statements on the journal as somebody would who alters it.
func alter(t testing.TB, dir string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestDamagesAreNoticed damages a journal in each way that was seen or can be thought of. The
// journal opens each time. It is either whole, or it has a new id and names what is lost; nothing
// that is still there as it was written is lost.
func TestDamagesAreNoticed(t *testing.T) {
	if testing.Short() {
		t.Skip("SQLite with the race detector takes a minute; nothing here runs at once")
	}
	original, want := damagedShop(t)
	truncate := func(name string, part float64) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			path := filepath.Join(dir, name)
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Truncate(path, int64(float64(info.Size())*part)); err != nil {
				t.Fatal(err)
			}
		}
	}
	remove := func(names ...string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			for _, name := range names {
				if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	inOneFile := func(damage func(*testing.T, string)) func(*testing.T, string) {
		return func(t *testing.T, dir string) { folded(t, dir); damage(t, dir) }
	}
	statement := func(statements ...string) func(*testing.T, string) {
		return func(t *testing.T, dir string) { alter(t, dir, statements...) }
	}
	wal := FileName + "-wal"
	for name, c := range map[string]struct {
		damage func(*testing.T, string)
		lost   int  // events, at most
		some   bool // some are lost for sure
	}{
		"the log is gone":                     {remove(wal), 60, true},
		"the log is empty":                    {truncate(wal, 0), 60, true},
		"a hundredth of the log is gone":      {truncate(wal, 0.99), 2, true},
		"a tenth of the log is gone":          {truncate(wal, 0.9), 9, true},
		"half of the log is gone":             {truncate(wal, 0.5), 40, true}, // the tables are made in its first fifth
		"the file is gone":                    {remove(FileName), 0, false},
		"file and log are gone":               {remove(FileName, wal), 60, true},
		"all but the head is gone":            {remove(FileName, wal, "lock"), 60, true},
		"the file is empty":                   {truncate(FileName, 0), 0, false},
		"the file is empty, nothing in a log": {inOneFile(truncate(FileName, 0)), 60, true},
		"a hundredth of the file is gone":     {inOneFile(truncate(FileName, 0.99)), 8, false},
		"a half of the file is gone":          {inOneFile(truncate(FileName, 0.5)), 60, true},
		"a third of the file is gone":         {inOneFile(truncate(FileName, 0.67)), 40, true},
		"nine tenths of the file are gone":    {inOneFile(truncate(FileName, 0.1)), 60, true},
		"the file is a folder": {inOneFile(func(t *testing.T, dir string) {
			remove(FileName)(t, dir)
			if err := os.Mkdir(filepath.Join(dir, FileName), 0o700); err != nil {
				t.Fatal(err)
			}
		}), 60, true},
		"the file is a text": {inOneFile(func(t *testing.T, dir string) {
			if err := os.WriteFile(filepath.Join(dir, FileName), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
				t.Fatal(err)
			}
		}), 60, true},
		"another journal is in its place": {inOneFile(func(t *testing.T, dir string) {
			other, _ := damagedShop(t)
			folded(t, other)
			data, err := os.ReadFile(filepath.Join(other, FileName))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, FileName), data, 0o600); err != nil {
				t.Fatal(err)
			}
		}), 0, false},
		"the layout is -1":               {statement(`PRAGMA user_version = -1`), 0, false},
		"the layout is 15":               {statement(`PRAGMA user_version = 15`), 0, false},
		"the layout is 0":                {statement(`PRAGMA user_version = 0`), 0, false},
		"the layout is 3":                {statement(`PRAGMA user_version = 3`), 0, false},
		"an event is missing":            {statement(`DELETE FROM record WHERE seq = 55`), 1, true},
		"an old event is missing":        {statement(`DELETE FROM record WHERE seq = 5`, `DELETE FROM checkpoint`), 1, true},
		"a step of air is missing":       {statement(`DELETE FROM record WHERE place = 110`), 0, false},
		"the last events are missing":    {statement(`DELETE FROM record WHERE place > 110`), 5, true},
		"a body is empty":                {statement(`UPDATE record SET body = CAST('{}' AS BLOB) WHERE seq = 55`), 1, true},
		"a body is null":                 {statement(`UPDATE record SET body = CAST('null' AS BLOB) WHERE seq = 55`), 1, true},
		"a body is another":              {statement(`UPDATE record SET body = CAST(replace(CAST(body AS TEXT), 'medium', 'low') AS BLOB) WHERE seq = 55`), 1, true},
		"a time is another":              {statement(`UPDATE record SET at = at + 3600000000000 WHERE seq = 55`), 1, true},
		"a kind is unknown":              {statement(`UPDATE record SET kind = 'blessed' WHERE seq = 55`), 1, true},
		"a checkpoint is an empty state": {statement(`UPDATE checkpoint SET state = CAST('{}' AS BLOB)`), 0, false},
		"a checkpoint is null":           {statement(`UPDATE checkpoint SET state = CAST('null' AS BLOB)`), 0, false},
		"the newest checkpoint is empty": {statement(`UPDATE checkpoint SET state = CAST('{}' AS BLOB) WHERE place = (SELECT max(place) FROM checkpoint)`), 0, false},
		"a checkpoint is no JSON":        {statement(`UPDATE checkpoint SET state = CAST('{' AS BLOB)`), 0, false},
		"a table is missing":             {statement(`DROP TABLE cursor`), 0, false},
		"the id is missing":              {statement(`DELETE FROM meta WHERE name = 'journal'`), 0, false},
		"the meta table is empty":        {statement(`DELETE FROM meta`), 0, false},
		"all is there":                   {func(*testing.T, string) {}, 0, false},
		"all is there, in one file":      {folded0, 0, false},
		"the head is gone":               {remove(headFile), 0, false},
		"the head is no head":            {truncate(headFile, 0.01), 0, false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			copyDir(t, original, dir)
			c.damage(t, dir)
			lost := opensAgain(t, dir, want)
			if lost > c.lost || c.some && lost == 0 {
				t.Errorf("%d events are lost, want at most %d, and some %v", lost, c.lost, c.some)
			}
		})
	}
}

func folded0(t *testing.T, dir string) { folded(t, dir) }

// opensAgain opens a damaged journal and checks that it is whole, or says what it isn't. It returns
// how many events are lost.
func opensAgain(t testing.TB, dir string, want record.State) (lost int) {
	t.Helper()
	j := openAt(t, dir)
	s := loaded(t, j)
	had := map[uint64]bool{}
	if err := j.Each(t.Context(), func(r record.Record) error {
		if r.IsEvent() {
			had[r.Seq] = true
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	named := map[uint64]bool{}
	if made := j.Rebuilt(); made != nil {
		for _, span := range made.Lost {
			for seq := span.First; seq <= span.Last; seq++ {
				named[seq] = true
			}
		}
		if made.Reason == "" || j.ID() == want.Journal {
			t.Errorf("rebuilt without a reason or a new id: %+v, %s", made, j.ID())
		}
		if made.Aside != "" {
			if _, err := os.Stat(filepath.Join(dir, made.Aside, whyFile)); err != nil {
				t.Errorf("what was set aside: %v", err)
			}
		}
		if made.Complete {
			want.Journal = s.Journal
			same(t, s, want)
		}
	} else {
		same(t, s, want)
	}
	for seq := uint64(1); seq <= want.Seq; seq++ {
		if !had[seq] && !named[seq] {
			t.Errorf("event %d is neither there nor named as lost", seq)
		}
		if !had[seq] {
			lost++
		}
	}
	// It goes on: a write, a stop and a start, without another word.
	next := record.Record{Seq: s.Seq + 1, Stamp: s.Last, By: "bench", Body: record.Stopped{}}
	s = record.Apply(s, next)
	if err := j.Write(Group{Records: []record.Record{next}, Checkpoint: &s}); err != nil {
		t.Fatal(err)
	}
	id := j.ID()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if j.ID() != id {
		t.Errorf("the journal was rebuilt again")
	}
	if fault := j.sweepAll(t.Context()); fault != nil {
		t.Errorf("the sweep over the rebuilt journal: %v", fault)
	}
	same(t, loaded(t, j), s)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return lost
}

// bits is how many single bits are flipped in the short form of the test, and in the long one.
func bits() int {
	if os.Getenv("POTLIFED_FAULTS") != "" {
		return 1000
	}
	if testing.Short() {
		return 4
	}
	return 24
}

// TestFlippedBits flips a bit at a random place of the file or of the log. The journal opens each
// time, by the sweep at the latest it is known to be damaged, and no figure is another than it was.
func TestFlippedBits(t *testing.T) {
	inLog, want := damagedShop(t)
	inFile := t.TempDir()
	copyDir(t, inLog, inFile)
	folded(t, inFile)
	random := rand.New(rand.NewPCG(13, 6))
	var rebuilt, lost, worst int
	var longest time.Duration
	for n := range bits() {
		from, name := inLog, FileName+"-wal"
		if n%2 == 0 {
			from, name = inFile, FileName
		}
		dir := filepath.Join(t.TempDir(), fmt.Sprint(n))
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		copyDir(t, from, dir)
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		at, bit := random.IntN(len(data)), random.IntN(8)
		data[at] ^= 1 << bit
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		gone, again := opensAfterSweep(t, dir, want)
		longest = max(longest, time.Since(began))
		if t.Failed() {
			t.Fatalf("bit %d of byte %d of %s", bit, at, name)
		}
		lost, worst = lost+gone, max(worst, gone)
		if gone > 12 { // the events of two pages
			t.Errorf("bit %d of byte %d of %s loses %d events", bit, at, name, gone)
		}
		if again {
			rebuilt++
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d bits: %d journals rebuilt, %d events lost in all, at most %d by one bit, longest %v", bits(), rebuilt, lost, worst, longest)
}

// opensAfterSweep opens a journal, sweeps it, and opens it again if the sweep condemned it.
func opensAfterSweep(t testing.TB, dir string, want record.State) (lost int, rebuilt bool) {
	t.Helper()
	j := openAt(t, dir)
	if fault := j.sweepAll(t.Context()); fault != nil {
		if err := j.condemn(fault); !errors.Is(err, ErrDamaged) {
			t.Errorf("condemned: %v", err)
		}
	}
	rebuilt = j.Rebuilt() != nil
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	lost = opensAgain(t, dir, want)
	return lost, rebuilt
}

// TestARebuildThatIsCutOff stops a rebuild at each step and starts again.
func TestARebuildThatIsCutOff(t *testing.T) {
	original, want := damagedShop(t)
	folded(t, original)
	for steps := 0; ; steps++ {
		dir := t.TempDir()
		copyDir(t, original, dir)
		alter(t, dir, `DELETE FROM record WHERE seq = 55`)
		states := rebuildStates(t, dir)
		if steps >= len(states) {
			break
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(dir, os.DirFS(states[steps])); err != nil {
			t.Fatal(err)
		}
		if lost := opensAgain(t, dir, want); lost != 1 {
			t.Errorf("cut off at step %d: %d events are lost, want the one", steps, lost)
		}
		if left, err := filepath.Glob(filepath.Join(dir, "*"+partial)); err != nil || len(left) != 0 {
			t.Errorf("cut off at step %d: %v is left (%v)", steps, left, err)
		}
	}
}

// rebuildStates returns copies of the folder as it is between the steps of a rebuild.
func rebuildStates(t *testing.T, dir string) (states []string) {
	t.Helper()
	keep := func() {
		to := t.TempDir()
		if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
			t.Fatal(err)
		}
		states = append(states, to)
	}
	quiet := slog.New(slog.DiscardHandler)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	aside := asidePrefix + "20260612T060000Z"
	folder := filepath.Join(dir, aside+partial)
	keep() // before anything
	must(os.Mkdir(folder, 0o750))
	keep()
	must(os.WriteFile(filepath.Join(folder, whyFile), []byte("an event is missing\n"), 0o640))
	keep()
	must(os.Rename(filepath.Join(dir, FileName), filepath.Join(folder, FileName)))
	keep()
	j, err := openFile(filepath.Join(dir, rebuiltFile), quiet) // half made
	must(err)
	must(j.Close())
	keep()
	must(renew(dir, aside, "an event is missing", quiet))
	keep()
	must(forgetHead(dir))
	keep()
	must(settle(dir, aside))
	keep()
	return states
}

// TestHeadsAreReadBack writes heads in turn; a torn one leaves the one before it.
func TestHeadsAreReadBack(t *testing.T) {
	dir := t.TempDir()
	w, err := openHead(dir)
	if err != nil {
		t.Fatal(err)
	}
	link := []byte("0123456789abcdef")
	for n := range 5 {
		if err := w.write(head{"id", int64(10 * n), uint64(n), link, int64(10 * n), nil, nil}); err != nil {
			t.Fatal(err)
		}
		h, ok, err := readHead(dir)
		if err != nil || !ok || h.seq != uint64(n) || h.place != int64(10*n) || !slices.Equal(h.link, link) {
			t.Fatalf("written %d, read %+v %v %v", n, h, ok, err)
		}
	}
	if _, err := w.file.WriteAt([]byte("torn"), 0); err != nil { // the fifth lies in the first slot
		t.Fatal(err)
	}
	if h, ok, err := readHead(dir); err != nil || !ok || h.seq != 3 {
		t.Errorf("after a torn write: %+v %v %v, want the one before", h, ok, err)
	}
	if err := w.close(); err != nil {
		t.Fatal(err)
	}
	if _, ok, err := readHead(t.TempDir()); ok || err != nil {
		t.Errorf("a folder without a head: %v %v", ok, err)
	}
}

// TestFilesAreNotForEverybody looks at the modes of what is in the folder.
func TestFilesAreNotForEverybody(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	if err := j.Write(Group{Records: alarms(1, 3)}); err != nil {
		t.Fatal(err)
	}
	names, err := os.ReadDir(dir)
	if err != nil || len(names) < 4 {
		t.Fatalf("%v %v", names, err)
	}
	for _, name := range names {
		info, err := name.Info()
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode&^fs.FileMode(0o640) != 0 {
			t.Errorf("%s has mode %o", name.Name(), mode)
		}
	}
}

// FuzzPages reads rows from any page. It ends, and nothing outside of the page is read.
func FuzzPages(f *testing.F) {
	dir, _ := damagedShop(f)
	folded(f, dir)
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		f.Fatal(err)
	}
	for at := 0; at+pageBytes <= len(data) && at < 4*pageBytes; at += pageBytes {
		f.Add(data[at:at+pageBytes], at == 0)
	}
	f.Fuzz(func(t *testing.T, data []byte, first bool) {
		page := make([]byte, pageBytes)
		copy(page, data)
		overflow := func(n uint32) []byte {
			if n%2 == 0 {
				return nil
			}
			return page
		}
		_ = leaf(page, first, overflow, func(rowid int64, columns []value) error {
			if r, ok := rowIn(rowid, columns); ok && usable(r) {
				if _, err := json.Marshal(string(r.body)); err != nil {
					t.Fatal(err)
				}
			}
			return nil
		})
	})
}
