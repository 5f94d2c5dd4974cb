package scale

import (
	"errors"
	"fmt"
	"testing"

	"potlifed/model/weigh"
)

// Published examples: a GGA sentence of NMEA 0183, whose checksum is the exclusive or of what is
// between $ and *; and a data record of the Intel hex format, whose last byte makes the sum
// of all bytes zero.
func TestChecksumsOfPublishedExamples(t *testing.T) {
	gga := "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*"
	if got := (Checksum{form: checkXOR, withoutFirst: true, withoutLast: true}).of([]byte(gga)); got != 0x47 {
		t.Errorf("xor: %02X, want 47", got)
	}
	record := []byte{0x10, 0x01, 0x00, 0x00, 0x21, 0x46, 0x01, 0x36, 0x01, 0x21, 0x47, 0x01, 0x36, 0x00, 0x7E, 0xFE, 0x09, 0xD2, 0x19, 0x01}
	if got := (Checksum{form: checkNegatedSum}).of(record); got != 0x40 {
		t.Errorf("negated sum: %02X, want 40", got)
	}
	if got := (Checksum{form: checkSum}).of(record); got != 0xC0 {
		t.Errorf("sum: %02X, want C0", got)
	}
}

// checked are lines in each form of checksum, as they come, made up.
func checked() map[string]string {
	lines := map[string]string{}
	for _, form := range []string{"xor", "sum", "negated-sum"} {
		for options, c := range map[string]Checksum{
			"": {}, ",stx": {stx: true}, ",without-first": {withoutFirst: true},
			",after-etx": {afterETX: true}, ",after-etx,etx": {afterETX: true, etx: true},
			",after-etx,etx,stx,byte": {afterETX: true, etx: true, stx: true, oneByte: true},
		} {
			c.form = checkForms[form]
			body := "W +00060.0 g"
			line := "\x02" + body
			if c.afterETX {
				line += "\x03"
			}
			if c.oneByte {
				line += string([]byte{c.of([]byte(body))})
			} else {
				line += fmt.Sprintf("%02X", c.of([]byte(body)))
			}
			lines["W {sign}{weight} {unit}{check="+form+options+"}"] = line + "\r\n"
		}
	}
	lines["W {sign}{weight} {unit} *{check=xor,without-last}"] = fmt.Sprintf("W +00060.0 g*%02x\r\n", Checksum{form: checkXOR}.of([]byte("W +00060.0 g")))
	return lines
}

// With a checksum, a line with one changed bit or one lost byte gives no weight, whichever bit
// or byte it is.
func TestADamagedLineWithAChecksumGivesNoWeight(t *testing.T) {
	for pattern, line := range checked() {
		d := synced(t, pattern)
		weights := 0
		each := func(_ []byte, r weigh.Reading, err error) {
			if err == nil && r.HasWeight {
				if weights++; r.Grams != 60 {
					t.Errorf("%s: %v g", pattern, r.Grams)
				}
			}
		}
		d.Feed([]byte(line), each)
		if weights != 1 {
			t.Errorf("%s: %q was not read: %+v", pattern, line, d.counts())
			continue
		}
		for i := range len(line) - 2 {
			for bit := range 8 {
				damaged := []byte(line)
				damaged[i] ^= 1 << bit
				weights = 0
				d.Feed(damaged, each)
				// A letter of the digits may be small, and the STX may be missing.
				if weights > 0 && bit != 5 && line[i] != 0x02 {
					t.Errorf("%s: %q was read with bit %d of byte %d changed", pattern, damaged, bit, i)
				}
				weights = 0
				d.Feed([]byte("\r\n"+line), each)
				if weights != 1 {
					t.Errorf("%s: after %q the good line gave %d weights", pattern, damaged, weights)
				}
			}
		}
	}
}

func TestAWrongChecksumIsNamed(t *testing.T) {
	d := synced(t, "{sign}{weight} {unit}{check=sum}")
	if _, errs := feed(d, "+60.0 g00"); len(errs) != 1 || !errors.Is(errs[0], ErrCheck) || !errors.Is(errs[0], ErrTorn) {
		t.Errorf("got %v, want ErrCheck", errs)
	}
	if c := d.counts(); c.Torn != 1 || c.Unknown != 0 {
		t.Errorf("counts %+v, want one torn", c)
	}
}

// However the bytes are cut, and whatever noise came before, a line with its checksum is read.
func FuzzChecksummedFrames(f *testing.F) {
	f.Add([]byte("\x02W +00060.0 g\x03\x0d\r\n"), 3)
	f.Add([]byte("\x03\x03\x03\x02\x02\r"), 1)
	f.Fuzz(func(t *testing.T, noise []byte, cut int) {
		for pattern, line := range checked() {
			d := NewDecoder(mustShape(t, pattern))
			n := min(max(cut, 0), len(noise))
			d.Feed(noise[:n], func([]byte, weigh.Reading, error) {})
			d.Feed(noise[n:], func(line []byte, r weigh.Reading, err error) {
				if len(line) > MaxLineBytes || err != nil && (r != weigh.Reading{}) {
					t.Errorf("%q: %+v, %v", line, r, err)
				}
			})
			// An ETX in the noise may take the next bytes for its checksum.
			got := 0
			d.Feed([]byte("\r\n\r\n"+line), func(_ []byte, r weigh.Reading, err error) {
				if err == nil && r.Grams == 60 {
					got++
				}
			})
			if got != 1 {
				t.Errorf("%s: after %q: %d readings", pattern, noise, got)
			}
		}
	})
}
