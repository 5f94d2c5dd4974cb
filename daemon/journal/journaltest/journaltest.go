// Package journaltest is for tests that begin with the journal of an old version.
package journaltest

import (
	"compress/gzip"
	"io"
	"os"
	"testing"
)

// Unpack writes what a gzip file holds into another file.
func Unpack(t testing.TB, packed, to string) {
	t.Helper()
	from, err := os.Open(packed)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	z, err := gzip.NewReader(from)
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, data, 0o600); err != nil {
		t.Fatal(err)
	}
}
