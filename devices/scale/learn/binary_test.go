package learn

import (
	"encoding/binary"
	"math"
	"testing"
)

// A scale that sends binary numbers or packed decimal digits has no lines of text. Nothing is proposed for it as sure.
func TestBinaryIsRefused(t *testing.T) {
	bcd := func(n uint32) (b []byte) {
		for shift := range 3 {
			two := n / uint32(math.Pow10(4-2*shift)) % 100
			b = append(b, byte(two/10<<4|two%10))
		}
		return b
	}
	for name, frame := range map[string]func(counts uint32) []byte{
		"packed decimal digits between STX and ETX": func(n uint32) []byte { return append(append([]byte{stx}, bcd(n)...), etx) },
		"packed decimal digits and a line end":      func(n uint32) []byte { return append(bcd(n), '\r', '\n') },
		"big-endian counts after a fixed header":    func(n uint32) []byte { return binary.BigEndian.AppendUint32([]byte{0xff, 0x55}, n) },
		"float with a line end": func(n uint32) []byte {
			return append(binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(n)/100)), '\r')
		},
		"a status byte, digits' low nibbles": func(n uint32) []byte {
			return []byte{0x80, byte(n / 10000 % 10), byte(n / 1000 % 10), byte(n / 100 % 10), byte(n / 10 % 10), byte(n % 10), 0xff}
		},
	} {
		var sent []byte
		for _, s := range display() {
			sent = append(sent, frame(uint32(math.Max(0, math.Round(s.g*100))))...)
		}
		frameOf := FrameOf(sent)
		p := Infer(Split(sent), Hint{})
		t.Logf("%s: frame %q, %q, %v %q", name, frameOf, p.Line, p.Certainty, p.Reasons)
		if p.Line != "" && p.Certainty != Unsure {
			t.Errorf("%s: %q is proposed, %v", name, p.Line, p.Certainty)
		}
		if len(p.Reasons) == 0 {
			t.Errorf("%s: no reason is given", name)
		}
	}
}
