package link

import (
	"errors"
	"os"
	"strings"
	"testing"

	"potlifed/devices/simulate"
)

// TestPortBeyondSelect: with more than 1023 descriptors in use a port cannot be waited
// for; that is an error that says so, and goes when there is room again.
func TestPortBeyondSelect(t *testing.T) {
	scale := newScale(t, simulate.ScaleOptions{Name: "crowded"})
	var crowd []*os.File
	leave := func() {
		for _, f := range crowd {
			f.Close()
		}
		crowd = nil
	}
	defer leave()
	for {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Skipf("this system lets a program have %d files only: %v", len(crowd), err)
		}
		if crowd = append(crowd, f); f.Fd() > 1030 {
			break
		}
	}
	st, err := Open(t.Context(), Settings{Port: scale.Port()})
	if err != nil {
		t.Fatal(err)
	}
	_, err = st.Read(make([]byte, 64))
	if !errors.Is(err, ErrLost) || !strings.Contains(err.Error(), "too many files") {
		t.Errorf("read: %v", err)
	}
	if err := st.Close(); err != nil {
		t.Error(err)
	}
	leave()
	st, err = Open(t.Context(), Settings{Port: scale.Port()})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	for read := 0; read == 0; {
		n, err := st.Read(make([]byte, 64))
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Fatalf("with room again: %v", err)
		}
		read = n
	}
}
