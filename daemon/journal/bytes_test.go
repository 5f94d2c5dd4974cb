package journal

import (
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// airAt returns the steps of some zones that end with a minute.
func airAt(minute int, zones ...string) (steps []record.Record) {
	at := began.Add(time.Duration(minute) * time.Minute)
	a := air.State{TemperatureC: 21.3 + float64(minute)/997, HumidityPct: 48.2 + float64(minute)/991}
	for _, zone := range zones {
		steps = append(steps, record.Record{Stamp: record.Stamp{At: at, Boot: "7d1f6d0e-6a3b-4d3c-9f60-2f3a5a1c2b4d", Synced: true}, By: "bench", Body: record.AirStep{
			Zone: zone, Start: at.Add(-time.Minute), Step: cure.Step{Duration: time.Minute, Kind: cure.Measured, From: a, To: a}, After: a, ReadAt: at.Add(-3 * time.Second),
		}})
	}
	return steps
}

// reportAt is a press's report of a print, the first of its minute.
func reportAt(minute int, press string) record.Record {
	at := began.Add(time.Duration(minute) * time.Minute)
	return record.Record{Stamp: record.Stamp{At: at, Boot: "7d1f6d0e-6a3b-4d3c-9f60-2f3a5a1c2b4d", Synced: true}, By: "device:tablet", Body: record.Counted{
		Press: press, Batch: "0612-1", Add: 1, Minute: at.Truncate(time.Minute), Day: "2026-06-12", Conditions: &record.Conditions{
			Ink: "dial-satin", Age: new(90 * time.Minute), Spent: new(0.0431176), LifeQuality: "good", ThinnerPct: new(7.84), RatioOffPct: new(0.3),
			Zone: "hall", TemperatureC: new(21.3456), HumidityPct: new(48.2345), VapourDensity: new(9.0123), AirQuality: "good",
		},
	}}
}

// TestFewPagesACommit counts the pages that minutes of air and reports of prints bring into the log. A card
// sees each as a whole, and more beside it.
func TestFewPagesACommit(t *testing.T) {
	for _, c := range []struct {
		what  string
		most  float64 // pages for each commit, in the mean
		group func(n int) []record.Record
	}{
		{"a minute of three zones", 1.5, func(n int) []record.Record { return airAt(n, "bench", "hall", "store") }},
		{"a report", 0.5, func(n int) []record.Record { return []record.Record{reportAt(n, "press-1")} }},
	} {
		dir := t.TempDir()
		j := openAt(t, dir)
		size := func() int64 {
			info, err := os.Stat(filepath.Join(dir, FileName+"-wal"))
			if err != nil {
				t.Fatal(err)
			}
			return info.Size()
		}
		const warm, commits = 20, 200
		before := int64(0)
		for n := range warm + commits {
			if n == warm {
				before = size()
			}
			if err := j.Write(Group{Records: c.group(n)}); err != nil {
				t.Fatal(err)
			}
		}
		if pages := float64(size()-before) / (24 + pageBytes) / commits; pages > c.most {
			t.Errorf("%s: %.1f pages for each commit, want %.1f at most", c.what, pages, c.most)
		}
	}
}

// pagesBy returns how many pages a call brings into the log.
func pagesBy(t *testing.T, dir string, call func()) float64 {
	t.Helper()
	size := func() int64 {
		info, err := os.Stat(filepath.Join(dir, FileName+"-wal"))
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	before := size()
	call()
	return float64(size()-before) / (24 + pageBytes)
}

// TestFewPagesAnHour: steps of a minute are not written again when they are two weeks old, however many there are, and
// reports whose minutes have their events come into the file neither with a checkpoint nor before it.
func TestFewPagesAnHour(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	write := func(g Group) {
		t.Helper()
		if err := j.Write(g); err != nil {
			t.Fatal(err)
		}
	}
	const minutes = 2 * thinAtOnce / 3
	all := alarms(1, 1)
	for n := range minutes {
		all = append(all, airAt(n, "bench", "hall", "store")...)
	}
	write(Group{Records: all})
	at := func(minute int) time.Time { return began.Add(time.Duration(minute) * time.Minute) }
	for range 3 { // of which each takes a part
		if pages := pagesBy(t, dir, func() {
			if err := j.thin(Thinning{RawBefore: at(minutes), MinutesBefore: began}); err != nil {
				t.Fatal(err)
			}
		}); pages > 2 {
			t.Errorf("%.0f pages to thin what is thin", pages)
		}
	}
	var from int64
	if err := j.db().QueryRow(`SELECT CAST(value AS INTEGER) FROM meta WHERE name = 'thinned-60000000000'`).Scan(&from); err != nil || from != at(minutes-1).UnixNano()+1 {
		t.Errorf("thinned up to %v, want %v (%v)", time.Unix(0, from).UTC(), at(minutes-1), err)
	}
	write(Group{Thin: &Thinning{RawBefore: at(minutes), MinutesBefore: at(minutes)}})
	write(Group{Thin: &Thinning{RawBefore: at(minutes), MinutesBefore: at(minutes)}})
	write(Group{Thin: &Thinning{RawBefore: at(minutes), MinutesBefore: at(minutes)}})
	steps, err := j.History(t.Context(), "hall", began.Add(-time.Hour), at(minutes+1))
	length := time.Duration(0)
	for _, s := range steps {
		length += s.Step.Duration
	}
	if err != nil || len(steps) > minutes/15+6 || length != minutes*time.Minute {
		t.Errorf("%d steps of %v (%v), want quarter-hours of %v", len(steps), length, err, minutes*time.Minute)
	}

	state, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	last := state.Seq
	for minute := 1; minute <= 60; minute++ {
		for _, group := range minuteOfCounts(minutes+minute, last) {
			for _, r := range group {
				state, last = record.Apply(state, r), max(last, r.Seq)
			}
			write(Group{Records: group})
		}
	}
	thin := &Thinning{RawBefore: began, MinutesBefore: began, CountedBefore: at(minutes + 60)}
	if pages := pagesBy(t, dir, func() { write(Group{Records: airAt(minutes+61, "hall"), Checkpoint: &state, Thin: thin}) }); pages > 200 {
		t.Errorf("%.0f pages with a checkpoint", pages)
	}
	var reports int
	if err := j.db().QueryRow(`SELECT count(*) FROM record WHERE kind = 'counted'`).Scan(&reports); err != nil || reports != 3 {
		t.Errorf("%d reports are in the file (%v), want those of the open minute", reports, err)
	}
	if err := j.sweepAll(t.Context()); err != nil {
		t.Error(err)
	}
	killed := t.TempDir()
	copyDir(t, dir, killed)
	again := openAt(t, killed)
	if again.Rebuilt() != nil || again.end.place != j.end.place || again.end.seq != j.end.seq {
		t.Errorf("ends at %+v, want %+v; rebuilt %+v", again.end, j.end, again.Rebuilt())
	}
}

// TestReportsAreRemoved: the reports of minutes that have their event go with each thinning, those of an open
// minute stay until the next one, and others are not touched; after a rebuild too.
func TestReportsAreRemoved(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	left := func() (minutes string) {
		t.Helper()
		if err := j.Each(t.Context(), func(r record.Record) error {
			if c, ok := r.Body.(record.Counted); ok {
				minutes += fmt.Sprintf(" %v", c.Minute.Sub(began).Minutes())
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return minutes
	}
	minute := 0
	report := func(upTo int) {
		t.Helper()
		for ; minute < upTo; minute++ {
			if err := j.Write(Group{Records: append(airAt(minute, "hall"), reportAt(minute, "press-1"))}); err != nil {
				t.Fatal(err)
			}
		}
	}
	thin := func(before int, want string) {
		t.Helper()
		if err := j.Write(Group{Thin: &Thinning{CountedBefore: began.Add(time.Duration(before) * time.Minute)}}); err != nil {
			t.Fatal(err)
		}
		if got := left(); got != want {
			t.Errorf("reports of minutes%s are left, want%s", got, want)
		}
	}
	report(5)
	thin(3, " 3 4")
	report(7)
	thin(3, " 3 4 5 6")
	thin(7, "")
	report(9)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	thin(8, " 8")
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, markFile), []byte("a test"), 0o640); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if j.Rebuilt() == nil {
		t.Fatal("it is not rebuilt")
	}
	report(11)
	thin(10, " 10") // the state of the rebuilt journal has the one of minute 8
	thin(11, "")
}

// TestWhatWaits: air and reports are on disk when they are answered, in the head only, and every reader of
// records has them: this program, another one beside it, a copy, and a start after a kill. The next event, and the
// end of the program, bring them into the file.
func TestWhatWaits(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	write := func(records ...record.Record) {
		t.Helper()
		if err := j.Write(Group{Records: records}); err != nil {
			t.Fatal(err)
		}
	}
	inFile := func(j *Journal) (n int) {
		t.Helper()
		if err := j.db().QueryRow(`SELECT count(*) FROM record`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	write(alarms(1, 1)...)
	answered := reportAt(3, "press-1")
	answered.Answer = &record.Answer{Key: "k", Hash: "h", At: began}
	all := [][]record.Record{airAt(2, "bench", "hall"), {answered}, airAt(4, "hall")}
	want := alarms(1, 1)
	for _, group := range all {
		write(group...)
		want = append(want, group...)
	}
	if n := inFile(j); n != 1 {
		t.Fatalf("%d records are in the file, want the event only", n)
	}
	reads := func(what string, j *Journal) {
		t.Helper()
		var got []record.Record
		if err := j.Each(t.Context(), func(r record.Record) error { got = append(got, r); return nil }); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got, cmp.Exporter(func(reflect.Type) bool { return true })); d != "" {
			t.Errorf("%s: %s", what, d)
		}
		n := 0
		if err := j.Since(t.Context(), 1, 3, func(place int64, r record.Record) error {
			n++
			if place != int64(n+1) {
				t.Errorf("%s: place %d is number %d", what, place, n)
			}
			return nil
		}); err != nil || n != 3 {
			t.Errorf("%s: %d records since the event %v, want 3", what, n, err)
		}
		if steps, err := j.History(t.Context(), "hall", began, began.Add(time.Hour)); err != nil || len(steps) != 2 {
			t.Errorf("%s: %d steps, want 2 (%v)", what, len(steps), err)
		}
		state, err := j.Load(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		same(t, state, applied(record.NewState(j.ID()), want))
	}
	reads("this program", j)
	beside, err := OpenToRead(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	reads("another one", beside)
	copied := t.TempDir()
	if err := beside.CopyTo(t.Context(), filepath.Join(copied, FileName)); err != nil {
		t.Fatal(err)
	}
	if err := beside.Close(); err != nil {
		t.Fatal(err)
	}
	killed, torn, damaged := t.TempDir(), t.TempDir(), t.TempDir()
	for _, to := range []string{killed, torn, damaged} {
		copyDir(t, dir, to)
	}
	for what, dir := range map[string]string{"a copy": copied, "after a kill": killed} {
		again := openAt(t, dir)
		if n := inFile(again); n != len(want) || again.Rebuilt() != nil {
			t.Errorf("%s: %d records are in the file, want %d; rebuilt: %v", what, n, len(want), again.Rebuilt())
		}
		reads(what, again)
	}
	if err := os.WriteFile(filepath.Join(damaged, markFile), []byte("a test"), 0o640); err != nil {
		t.Fatal(err)
	}
	again := openAt(t, damaged)
	if state, err := again.Load(t.Context()); err != nil || again.Rebuilt() == nil || len(state.Open) != 1 || !state.Zones["hall"].Until.Equal(applied(record.NewState(""), want).Zones["hall"].Until) {
		t.Errorf("rebuilt: %+v, with %d open minutes and air until %v (%v)", again.Rebuilt(), len(state.Open), state.Zones["hall"].Until, err)
	}
	// The newest group was being written when the power failed: the one before it is there.
	tear(t, torn, 1-j.head.turn)
	if again := openAt(t, torn); inFile(again) != len(want)-1 || again.Rebuilt() != nil {
		t.Errorf("torn: %d records are in the file, want %d; rebuilt: %v", inFile(again), len(want)-1, again.Rebuilt())
	}
	event := alarms(2, 1)[0]
	write(event)
	want = append(want, event)
	if n := inFile(j); n != len(want) {
		t.Errorf("%d records are in the file after the next event, want %d", n, len(want))
	}
	last := airAt(5, "hall")
	write(last...)
	want = append(want, last...)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if h, _, err := readHead(dir); err != nil || len(h.waiting) > 0 || inFile(j) != len(want) {
		t.Errorf("after the end %d records wait, %d are in the file (%v)", len(h.waiting), inFile(j), err)
	}
}

// minuteOfCounts is what three presses that report a print each minute bring into a journal: the air of a zone with the
// events of the minute before, then the reports, each in a group of its own. before is the number of the last event.
func minuteOfCounts(minute int, before uint64) (groups [][]record.Record) {
	first := airAt(minute, "hall")
	for _, press := range []string{"press-1", "press-2", "press-3"} {
		r := reportAt(minute, press)
		groups = append(groups, []record.Record{r})
		if minute > 1 {
			before++
			c := r.Body.(record.Counted)
			first = append(first, record.Record{Seq: before, Stamp: r.Stamp, By: r.By, Body: record.Printed{
				Press: press, Batch: c.Batch, Add: 1, Minute: c.Minute.Add(-time.Minute), Day: c.Day, Last: c.Minute, Conditions: *c.Conditions,
			}})
		}
	}
	groups[0] = append(first, groups[0]...)
	return groups
}

// TestCountsWait: the events of minutes of counts wait too, on several pages, and every reader has them. A kill after
// each group loses nothing, nor does a page that is torn while it is written.
func TestCountsWait(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	want := alarms(1, 1)
	if err := j.Write(Group{Records: want}); err != nil {
		t.Fatal(err)
	}
	damaged := t.TempDir()
	for minute := 1; minute <= 12; minute++ {
		for _, group := range minuteOfCounts(minute, applied(record.NewState(""), want).Seq) {
			before := len(want)
			if err := j.Write(Group{Records: group}); err != nil {
				t.Fatal(err)
			}
			want = append(want, group...)
			killed, torn := t.TempDir(), t.TempDir()
			copyDir(t, dir, killed)
			copyDir(t, dir, torn)
			tear(t, torn, 2*j.head.at.pair+1-j.head.turn)
			for dir, n := range map[string]int{killed: len(want), torn: before} {
				again := openAt(t, dir)
				state, err := again.Load(t.Context())
				if err != nil || again.Rebuilt() != nil {
					t.Fatalf("%d of %d: rebuilt %+v, %v", n, len(want), again.Rebuilt(), err)
				}
				same(t, state, applied(record.NewState(j.ID()), want[:n]))
				if err := again.sweepAll(t.Context()); err != nil {
					t.Error(err)
				}
				if err := again.Close(); err != nil {
					t.Error(err)
				}
			}
		}
		if minute == 9 {
			copyDir(t, dir, damaged)
		}
	}
	if j.head.at.pair < 2 || len(j.waiting) != len(want)-1 {
		t.Fatalf("%d of %d records wait in %d pairs of pages", len(j.waiting), len(want), j.head.at.pair+1)
	}
	beside, err := OpenToRead(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer beside.Close()
	waiting := [2]string{readEvents(t, j), readEvents(t, beside)}
	if err := j.settle(); err != nil || len(j.waiting) > 0 {
		t.Fatalf("%d records wait (%v)", len(j.waiting), err)
	}
	for i, inFile := range []string{readEvents(t, j), readEvents(t, beside)} {
		if d := cmp.Diff(inFile, waiting[i]); d != "" {
			t.Errorf("reader %d read other events while they waited: %s", i, d)
		}
	}

	for n := range 2 { // the head of a file that has all is told from the one before, whichever is in the first page
		for _, at := range []int{20, 30}[:1+n] {
			if err := j.Write(Group{Records: airAt(at+n, "hall")}); err != nil {
				t.Fatal(err)
			}
		}
		if err := j.settle(); err != nil {
			t.Fatal(err)
		}
		if h, _, err := readHead(dir); err != nil || len(h.waiting) > 0 {
			t.Errorf("%d records wait when all are in the file (%v)", len(h.waiting), err)
		}
	}
	if info, err := os.Stat(filepath.Join(dir, headFile)); err != nil || info.Size() != headBytes {
		t.Errorf("the head grows, which costs its metadata at each sync: %v, %v", info.Size(), err)
	}

	// Both pages of a pair are lost: what is in the others is not.
	tear(t, damaged, 2)
	tear(t, damaged, 3)
	again := openAt(t, damaged)
	r := again.Rebuilt()
	if r == nil || len(r.Lost) != 1 || r.Lost[0].First <= 2 || r.Lost[0].Last >= 23 {
		t.Errorf("after the damage of a pair: %+v, want some of the events lost", r)
	}
}

// tear spoils a page of the head.
func tear(t *testing.T, dir string, page int64) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, headFile), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte("torn"), page*headPage+headLine+20); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// readEvents returns as text what all readers of events read.
func readEvents(t *testing.T, j *Journal) string {
	t.Helper()
	var read []any
	var numbers []uint64
	for after := uint64(0); ; {
		some, err := j.Events(t.Context(), after, 7)
		if err != nil {
			t.Fatal(err)
		}
		if len(some) == 0 {
			break
		}
		for _, e := range some {
			after = e.Seq
			numbers = append(numbers, e.Seq)
			one, err := j.Event(t.Context(), e.Seq)
			if err != nil {
				t.Fatal(err)
			}
			read = append(read, e, one)
		}
	}
	about, err := j.About(t.Context(), "0612-1")
	if err != nil {
		t.Fatal(err)
	}
	read = append(read, "about", about, "replayed")
	for _, from := range []int{0, len(numbers) - 4} {
		if err := j.Replay(t.Context(), numbers[from:], []string{"hall"}, began, func(r record.Record) error { read = append(read, r); return nil }); err != nil {
			t.Fatal(err)
		}
	}
	newest, err := j.Newest(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.MarshalIndent(append(read, newest), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestHeadOfBeforeThePairs: the head of a version that had one page with all that waits is read, and nothing of it is lost.
func TestHeadOfBeforeThePairs(t *testing.T) {
	dir, killed := t.TempDir(), t.TempDir()
	j := openAt(t, dir)
	want := append(alarms(1, 1), airAt(1, "bench", "hall")...)
	for _, r := range want {
		if err := j.Write(Group{Records: []record.Record{r}}); err != nil {
			t.Fatal(err)
		}
	}
	copyDir(t, dir, killed)
	line := fmt.Appendf(nil, "%s %d %d %s", j.id, j.end.place, j.end.seq, hex.EncodeToString(j.end.link))
	line = fmt.Appendf(line, " %08x\n", crc32.ChecksumIEEE(line))
	rows := packRows(j.waiting)
	page := append(line, make([]byte, headLine-len(line))...)
	page = binary.BigEndian.AppendUint32(page, uint32(len(rows)))
	page = binary.BigEndian.AppendUint32(page, crc32.ChecksumIEEE(append(line[:len(line):len(line)], rows...)))
	page = append(page, rows...)
	if err := os.WriteFile(filepath.Join(killed, headFile), append(page, make([]byte, 2*headPage-len(page))...), 0o640); err != nil {
		t.Fatal(err)
	}
	again := openAt(t, killed)
	state, err := again.Load(t.Context())
	if err != nil || again.Rebuilt() != nil || again.end.place != 3 {
		t.Fatalf("ends at record %d, rebuilt %+v, %v", again.end.place, again.Rebuilt(), err)
	}
	same(t, state, applied(record.NewState(j.ID()), want))
}

// TestWaitingIsBounded: pages that are full go into the file, and what has waited long enough.
func TestWaitingIsBounded(t *testing.T) {
	j := openAt(t, t.TempDir())
	most, last := 0, 800
	for n := range last {
		if err := j.Write(Group{Records: airAt(n, "bench", "hall", "store")}); err != nil {
			t.Fatal(err)
		}
		most = max(most, len(j.waiting))
	}
	if most < 700 || most > 1600 {
		t.Errorf("%d steps wait at most", most)
	}
	j.settled = j.settled.Add(-waitsAtMost)
	if err := j.Write(Group{Records: airAt(last, "hall")}); err != nil || len(j.waiting) > 0 {
		t.Errorf("%d steps wait for longer than they may (%v)", len(j.waiting), err)
	}
	state, err := j.Load(t.Context())
	if err != nil || state.Zones["hall"].Until.Sub(began) != time.Duration(last+1)*time.Minute {
		t.Errorf("the air ends at %v (%v)", state.Zones["hall"].Until, err)
	}
}

// FuzzWaitingRows: bytes that are none of packRows are refused, and those that are taken mean one thing.
func FuzzWaitingRows(f *testing.F) {
	for _, r := range append(airAt(1, "hall", "bench"), reportAt(2, "press-1"), alarms(3, 1)[0]) {
		one, err := rowOf(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(packRows([]row{one, one}))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		rows, ok := unpackRows(b)
		if !ok {
			return
		}
		again, ok := unpackRows(packRows(rows))
		if !ok || len(again) != len(rows) {
			t.Fatalf("%d rows became %d", len(rows), len(again))
		}
	})
}

// FuzzHead: whatever lies in the file of the head, what is read of it are records in their order, up to the place that
// it says.
func FuzzHead(f *testing.F) {
	h := head{id: "id", place: 1, seq: 1, link: make([]byte, hashBytes), file: 1}
	pages, _ := h.page(nil)
	for _, r := range append(airAt(1, "hall", "bench"), reportAt(2, "press-1")) {
		one, err := rowOf(r)
		if err != nil {
			f.Fatal(err)
		}
		h.place++
		one.place = h.place
		h.waiting = append(h.waiting, one)
		page, _ := h.page(h.waiting)
		pages = append(pages, page...)
	}
	f.Add(pages)
	f.Add(pages[:headPage])
	f.Add([]byte("id 7 5 00000000000000000000000000000000 00000000\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, ok := headIn(b)
		if !ok && len(h.waiting) > 0 || ok && (len(h.link) != hashBytes || h.place < 0) {
			t.Fatalf("%v %+v", ok, h)
		}
		last := int64(-1 << 63)
		for _, r := range h.waiting {
			if r.place <= last {
				t.Fatalf("place %d follows %d", r.place, last)
			}
			last = r.place
		}
	})
}
