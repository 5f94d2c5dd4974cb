package scale

import (
	"errors"
	"strings"
	"testing"

	"potlifed/model/weigh"
)

func decoderWithKey(t testing.TB, line, key string) *Decoder {
	t.Helper()
	shape, err := ParseShape(line)
	if err != nil {
		t.Fatal(err)
	}
	k, err := ParseKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return NewDecoder(shape).withKey(k)
}

// The lines are made up after common tickets; those of the stream are as in the tests
// of the shapes.
func TestTheKeyIsToldFromTheStream(t *testing.T) {
	stream := strings.Repeat("ST,GS,+00060.0  g\r\n", 8)
	for _, c := range []struct{ key, line string }{
		{"PRINT", "PRINT"},
		{"No. {weight} {unit}", "No.  60.0 g"},
		{"weight-unit", "    60.0 g"},
		{"{net=N|gross=G}  {sign}{weight} {unit}  *", "G  + 60.0 g *"},
		{"KEY {weight}", "KEY 7"},
	} {
		for _, line := range []string{"status-first", Auto} {
			d := decoderWithKey(t, line, c.key)
			readings, keys := 0, 0
			each := func(_ []byte, _ weigh.Reading, err error) {
				switch {
				case errors.Is(err, ErrKey):
					keys++
				case err == nil:
					readings++
				case !errors.Is(err, ErrTorn) && !errors.Is(err, ErrLearning):
					t.Errorf("key %q, line %q: %v", c.key, line, err)
				}
			}
			d.Feed([]byte(stream), each)
			before := readings
			if before == 0 || keys != 0 {
				t.Fatalf("key %q: %d readings, %d keys from the stream alone", c.key, before, keys)
			}
			d.Feed([]byte(c.line+"\r\n"), each)
			d.Feed([]byte(stream), each)
			if keys != 1 || readings != before+8 {
				t.Errorf("key %q, line %q: %d keys and %d readings more, want 1 and 8", c.key, line, keys, readings-before)
			}
		}
	}
}

func TestKeyPatternsThatFitAnything(t *testing.T) {
	for _, bad := range []string{"", " ", "{stable=|moving=}", "{sign}", "{weight}{weight}", "auto", "{weight", "a\x01b"} {
		if _, err := ParseKey(bad); err == nil {
			t.Errorf("%q was taken for a key", bad)
		}
	}
}

func FuzzParseKey(f *testing.F) {
	for _, seed := range []string{"PRINT", "No. {weight} {unit}", "{stable=ST|} {sign}{weight:8}{unit=g}*", "weight-unit", "{"} {
		f.Add(seed, []byte("No. 60.0 g\r\nST,GS,+00060.0  g\r\nPRINT\r\n"))
	}
	f.Fuzz(func(t *testing.T, pattern string, stream []byte) {
		key, err := ParseKey(pattern)
		if err != nil {
			return
		}
		shape, err := ParseShape(Auto)
		if err != nil {
			t.Fatal(err)
		}
		d := NewDecoder(shape).withKey(key)
		lines := 0
		d.Feed(stream, func(line []byte, r weigh.Reading, err error) {
			lines++
			if errors.Is(err, ErrKey) && r.HasWeight {
				t.Fatalf("%q is the key and a reading", line)
			}
		})
		c := d.counts()
		if sum := c.OK + c.Torn + c.Unknown + c.Overlong + c.Learning; sum != uint64(lines) {
			t.Fatalf("%d lines counted as %+v", lines, c)
		}
	})
}
