package backup

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/access"
	"potlifed/daemon/journal"
	"potlifed/daemon/journal/journaltest"
	"potlifed/daemon/record"
)

const pin = "902817"

// dataDir returns a data directory with the journal of an old version, which has all kinds of
// record, brought up to date, and with a PIN.
func dataDir(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	journaltest.Unpack(t, "../journal/testdata/old/journal.sqlite.gz", filepath.Join(dir, journal.FileName))
	loaded(t, dir)
	if err := access.Open(dir).SetPIN(pin); err != nil {
		t.Fatal(err)
	}
	return dir
}

// loaded returns the state of the journal in a directory, from its checkpoint and from its first
// record.
func loaded(t testing.TB, dir string) (fromCheckpoint, fromFirst record.State) {
	t.Helper()
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if fromCheckpoint, err = j.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	fromFirst = record.NewState(j.ID())
	if err := j.Each(t.Context(), func(r record.Record) error {
		fromFirst = record.Apply(fromFirst, r)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return fromCheckpoint, fromFirst
}

func written(t testing.TB, dir string) []byte {
	t.Helper()
	var out bytes.Buffer
	c, err := Write(t.Context(), dir, t.TempDir(), Contents{Bench: "bench-1", Version: "0.1.0", Made: time.Unix(1_780_000_000, 0).UTC()}, &out)
	if err != nil {
		t.Fatal(err)
	}
	if c.Seq == 0 || c.Journal == "" || len(c.Files) < 2 {
		t.Fatalf("contents %+v", c)
	}
	return out.Bytes()
}

func TestARestoredBenchKnowsTheSame(t *testing.T) {
	dir := dataDir(t)
	packed := written(t, dir)
	if err := Check(bytes.NewReader(packed)); err != nil {
		t.Fatal(err)
	}
	before, beforeFirst := loaded(t, dir)
	for _, o := range []Options{{}, {NewJournal: true}, {NoAccess: true}} {
		to := filepath.Join(t.TempDir(), "data")
		c, err := Restore(t.Context(), to, bytes.NewReader(packed), o)
		if err != nil {
			t.Fatal(err)
		}
		after, afterFirst := loaded(t, to)
		if renewed := after.Journal != before.Journal; renewed != o.NewJournal || after.Journal != c.Journal || afterFirst.Journal != c.Journal {
			t.Errorf("%+v: journal %s was %s, told %s", o, after.Journal, before.Journal, c.Journal)
		}
		after.Journal, afterFirst.Journal = before.Journal, before.Journal
		if d := cmp.Diff(before, after, cmp.Exporter(func(reflect.Type) bool { return true })); d != "" {
			t.Errorf("%+v: the state differs:\n%s", o, d)
		}
		if d := cmp.Diff(beforeFirst, afterFirst, cmp.Exporter(func(reflect.Type) bool { return true })); d != "" {
			t.Errorf("%+v: the records differ:\n%s", o, d)
		}
		has, err := access.Open(to).HasPIN()
		if err != nil || has == o.NoAccess {
			t.Errorf("%+v: a PIN %v, %v", o, has, err)
		}
		if left, _ := filepath.Glob(filepath.Join(to, "restoring-*")); len(left) > 0 {
			t.Errorf("left behind: %v", left)
		}
	}
}

func TestRestoreOnlyIntoAnEmptyDirectory(t *testing.T) {
	dir := dataDir(t)
	packed := written(t, dir)
	before, _ := loaded(t, dir)
	if _, err := Restore(t.Context(), dir, bytes.NewReader(packed), Options{}); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("into a directory in use: %v", err)
	}
	if after, _ := loaded(t, dir); after.Seq != before.Seq || after.Journal != before.Journal {
		t.Error("the journal that was there has changed")
	}
}

// TestADamagedBackupIsRefused cuts a backup short and turns bits of it. Nothing is restored.
func TestADamagedBackupIsRefused(t *testing.T) {
	packed := written(t, dataDir(t))
	random := rand.New(rand.NewPCG(1, 2))
	damaged := [][]byte{nil, []byte("no backup"), packed[:len(packed)-1], packed[:len(packed)/2]}
	for len(damaged) < 64 {
		one := bytes.Clone(packed)
		one[10+random.IntN(len(one)-10)] ^= 1 << random.IntN(8) // the ten bytes before hold names and times of gzip
		if !bytes.Equal(unpacked(one), unpacked(packed)) {      // a bit that fills up the last byte of the stream says nothing
			damaged = append(damaged, one)
		}
	}
	dir := t.TempDir()
	for i, one := range damaged {
		_, err := Restore(t.Context(), dir, bytes.NewReader(one), Options{})
		var wrong *FormatError
		if !errors.As(err, &wrong) {
			t.Errorf("damage %d: %v", i, err)
		}
		if entries, err := os.ReadDir(dir); err != nil || len(entries) > 0 {
			t.Fatalf("damage %d left %v, %v", i, entries, err)
		}
	}
}

// unpacked returns what gzip unpacks and finds whole; nil where it finds a fault.
func unpacked(packed []byte) []byte {
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil
	}
	all, err := io.ReadAll(z)
	if err != nil {
		return nil
	}
	return all
}

// FuzzCheck: whatever is taken for a backup, reading it ends and never panics.
func FuzzCheck(f *testing.F) {
	f.Add([]byte("no backup"))
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	z.Close()
	f.Add(out.Bytes())
	out.Reset()
	z = gzip.NewWriter(&out)
	if err := pack(z, "", Contents{Format: format}); err != nil {
		f.Fatal(err)
	}
	z.Close()
	f.Add(out.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		var wrong *FormatError
		if err := Check(bytes.NewReader(data)); err != nil && !errors.As(err, &wrong) {
			t.Errorf("%v is no fault of the file", err)
		}
	})
}
