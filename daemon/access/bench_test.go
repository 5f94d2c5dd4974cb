package access

import "testing"

// BenchmarkPaired is what every change of a paired device costs before it is looked at:
// the file is read, and parsed only when it differs. Budget on a Pi 3: 1 ms.
func BenchmarkPaired(b *testing.B) {
	s := Open(b.TempDir())
	if err := s.SetPIN(goodPIN); err != nil {
		b.Fatal(err)
	}
	var secret string
	for range 20 {
		var err error
		if _, secret, err = s.Pair(goodPIN, "tablet", "", Local, noon); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := s.Paired(secret, noon); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkGuess is one look at a PIN. Budget on a Pi 3: 1 s, and 19 MiB.
func BenchmarkGuess(b *testing.B) {
	h := newHash(goodPIN)
	for b.Loop() {
		h.is("111213")
	}
}
