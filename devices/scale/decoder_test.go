package scale

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"potlifed/model/weigh"
)

// heard is what became of one line.
type heard struct {
	line string
	err  error
}

func frames(f *Framer, chunks ...string) (lines []heard) {
	for _, c := range chunks {
		f.Feed([]byte(c), func(line []byte, err error) { lines = append(lines, heard{string(line), err}) })
	}
	return lines
}

func TestFramer(t *testing.T) {
	long := strings.Repeat("x", MaxLineBytes+1)
	whole := strings.Repeat("x", MaxLineBytes)
	cases := []struct {
		name   string
		chunks []string
		want   []heard
	}{
		{"the first line may have begun before", []string{"0.0 g\r\n", "60.0 g\r\n"}, []heard{{"0.0 g", ErrTorn}, {"60.0 g", nil}}},
		{"an end of line shows the beginning", []string{"\r60.0 g\r"}, []heard{{"60.0 g", nil}}},
		{"CR, LF and both", []string{"\na\rb\nc\r\nd\n\re\n"}, []heard{{"a", nil}, {"b", nil}, {"c", nil}, {"d", nil}, {"e", nil}}},
		{"STX shows the beginning", []string{"\x02a\x03\x02b\x03"}, []heard{{"a", nil}, {"b", nil}}},
		{"a checksum after ETX is no line", []string{"\x02a\x03Z\r\n\x02b\x03Z\x02c\r"}, []heard{{"a", nil}, {"b", nil}, {"c", nil}}},
		{"STX in a line: its end is lost", []string{"\nab\x02cd\n"}, []heard{{"ab", ErrTorn}, {"cd", nil}}},
		{"the longest line", []string{"\n" + whole + "\na\n"}, []heard{{whole, nil}, {"a", nil}}},
		{"too long costs itself", []string{"\n" + long + long + "\na\n"}, []heard{{whole, ErrOverlong}, {"a", nil}}},
		{"too long at the start", []string{long + "\na\n"}, []heard{{whole, ErrOverlong}, {"a", nil}}},
	}
	for _, c := range cases {
		var f Framer
		if got := frames(&f, c.chunks...); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

func TestFramerInterrupt(t *testing.T) {
	var f Framer
	frames(&f, "\n12")
	f.Interrupt()
	if got := frames(&f, ".5\n60\n"); fmt.Sprint(got) != fmt.Sprint([]heard{{".5", ErrTorn}, {"60", nil}}) {
		t.Errorf("after an interrupted line: %v", got)
	}
	f.Interrupt()
	if got := frames(&f, "70\n"); fmt.Sprint(got) != fmt.Sprint([]heard{{"70", nil}}) {
		t.Errorf("interrupted between two lines: %v; want nothing lost", got)
	}
}

// However the bytes are cut into reads, the lines are the same.
func TestFramerDoesNotSeeReads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stream := rapid.SliceOf(rapid.SampledFrom([]byte("01.g \r\n\x02\x03"))).Draw(t, "stream")
		var whole, cut Framer
		want := frames(&whole, string(stream))
		var got []heard
		for rest := string(stream); rest != ""; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "read")
			got = append(got, frames(&cut, rest[:n])...)
			rest = rest[n:]
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("cut: %v, whole: %v", got, want)
		}
	})
}

// Whatever came before, once a line has ended the next good line is read.
func FuzzFramer(f *testing.F) {
	f.Add([]byte("0.0 g\r\n   60.0 g\r\n"))
	f.Add([]byte("\x02ST,GS,+00060.0  g\x03Q\r"))
	f.Add(bytes.Repeat([]byte{'x'}, 1000))
	f.Add([]byte{0, 0xff, '\r', 0x02, 0x02, 0x03})
	f.Fuzz(func(t *testing.T, noise []byte) {
		d := NewDecoder(mustShape(t, "status-first"))
		lines := uint64(0)
		d.Feed(noise, func(line []byte, r weigh.Reading, err error) {
			lines++
			if len(line) > MaxLineBytes {
				t.Errorf("a line of %d bytes", len(line))
			}
			if (err != nil) && (r != weigh.Reading{}) {
				t.Errorf("%q: both %+v and %v", line, r, err)
			}
		})
		c := d.counts()
		if c.OK+c.Torn+c.Unknown+c.Overlong+c.Learning != lines {
			t.Errorf("%d lines, counted %+v", lines, c)
		}
		d.restart()
		var got []float64
		d.Feed([]byte("\r\nST,GS,+00060.0  g\r\n"), func(_ []byte, r weigh.Reading, err error) {
			if err == nil {
				got = append(got, r.Grams)
			}
		})
		if len(got) != 1 || got[0] != 60 {
			t.Errorf("after the noise: %v", got)
		}
	})
}

func feed(d *Decoder, lines ...string) (readings []weigh.Reading, errs []error) {
	for _, l := range lines {
		d.Feed([]byte(l+"\r\n"), func(_ []byte, r weigh.Reading, err error) {
			if err == nil {
				readings = append(readings, r)
			} else {
				errs = append(errs, err)
			}
		})
	}
	return readings, errs
}

// synced gives a decoder that has seen an end of line.
func synced(t testing.TB, shape string) *Decoder {
	d := NewDecoder(mustShape(t, shape))
	feed(d, "")
	return d
}

func times(n int, line string) (lines []string) {
	for range n {
		lines = append(lines, line)
	}
	return lines
}

// A mark that only moving weights have makes their lines longer; none of them is torn. A line that
// lost a digit is, with the mark and without it.
func TestMarksOfSeveralLengths(t *testing.T) {
	const stable, moving = "      60.0 g", "      61.0 g moving"
	for _, pattern := range []string{"{sign}{weight} {unit} {moving=moving|stable=}", "{sign}{weight} {unit} {moving=moving|any=Z|}"} {
		d := synced(t, pattern)
		lines := append(times(linesToFixWidth+1, stable), times(linesToFixWidth+1, moving)...)
		if readings, errs := feed(d, lines...); len(errs) > 0 || len(readings) != len(lines) {
			t.Errorf("%s: %d readings, %v", pattern, len(readings), errs)
		}
		if readings, errs := feed(d, stable[:6]+stable[7:], moving[:6]+moving[7:]); len(readings) > 0 || len(errs) != 2 || errs[0] != ErrWidth || errs[1] != ErrWidth {
			t.Errorf("%s: a digit was lost: %+v, %v", pattern, readings, errs)
		}
	}
	// A counter in front grows.
	d := synced(t, "#{skip} {sign}{weight} {unit}")
	for n := range 120 {
		if _, errs := feed(d, fmt.Sprintf("#%d  %8.1f g", n, 60.0)); len(errs) > 0 {
			t.Fatalf("counter %d: %v", n, errs)
		}
	}
}

func TestNoiseCostsItsOwnLine(t *testing.T) {
	d := synced(t, "status-first")
	readings, errs := feed(d,
		"ST,GS,+00060.0  g",
		"ST,GS,+000\x00\xfe0.0  g",
		"ST,GS,+00061.0  g",
		strings.Repeat("U", 500),
		"ST,GS,+00062.0  g",
		"OL,GS,+99999.9  g",
		"ST,GS,+00063.0 tl",
	)
	if len(readings) != 4 || readings[2].Grams != 62 || !readings[3].Over {
		t.Errorf("readings %+v", readings)
	}
	if fmt.Sprint(errs) != fmt.Sprint([]error{ErrUnknown, ErrOverlong, ErrUnit}) {
		t.Errorf("errors %v", errs)
	}
	if c, want := d.counts(), (Counts{OK: 4, Unknown: 2, Overlong: 1, Overload: 1}); c != want {
		t.Errorf("counts %+v, want %+v", c, want)
	}
}

func TestAutoSettles(t *testing.T) {
	for shape, line := range map[string]string{
		"status-first":   "ST,GS,+00060.0  g",
		"letters-first":  "S S      60.00 g",
		"tare-first":     "N     +    60.0 g  ",
		"stability-last": "    60.0 g S",
		"tare-last":      "    60.0 g N",
		"weight-unit":    "    60.0 g",
	} {
		d := synced(t, Auto)
		readings, errs := feed(d, times(linesToSettle-1, line)...)
		if len(readings) != 0 || len(errs) != linesToSettle-1 || !errors.Is(errs[0], ErrLearning) || d.shapeName() != Auto {
			t.Errorf("%s: before it is settled: %v, %v, %s", shape, readings, errs, d.shapeName())
		}
		readings, errs = feed(d, line, line)
		if len(readings) != 2 || readings[0].Grams != 60 || len(errs) != 0 || d.shapeName() != shape {
			t.Errorf("%s: settled on %s, read %v, %v", shape, d.shapeName(), readings, errs)
		}
	}
}

func TestAutoDoesNotSettleOnChangingShapes(t *testing.T) {
	d := synced(t, Auto)
	for range 10 {
		readings, _ := feed(d, "    60.0 g", "    60.0 g", "noise", "    60.0 g", "    60.0 g N")
		if len(readings) != 0 {
			t.Fatalf("read %+v", readings)
		}
	}
}

// Without a unit 60 might be grams or kilograms or ounces.
func TestAutoNeverGuessesTheUnit(t *testing.T) {
	d := synced(t, Auto)
	readings, errs := feed(d, times(200, "+0060.00")...)
	if len(readings) != 0 {
		t.Errorf("read %+v", readings[0])
	}
	for _, err := range errs {
		if !errors.Is(err, ErrNoUnit) {
			t.Fatalf("got %v, want ErrNoUnit", err)
		}
	}
	// A unit that comes later settles it.
	if readings, _ = feed(d, times(linesToSettle, "  60.0 g")...); len(readings) != 1 {
		t.Errorf("with a unit: %+v", readings)
	}
}

func TestMissingUnitIsTheUnitSeenBefore(t *testing.T) {
	d := synced(t, "weight-unit")
	readings, _ := feed(d, "   0.060   ", "   0.060 kg", "   0.070   ")
	if len(readings) != 3 || readings[0].HasWeight || readings[1].Grams != 60 ||
		readings[2] != (weigh.Reading{Grams: 70, HasWeight: true, Stability: weigh.Moving}) {
		t.Errorf("read %+v", readings)
	}
	// After a reopening it may be another scale.
	d.restart()
	feed(d, "")
	if readings, _ = feed(d, "   0.070   "); len(readings) != 1 || readings[0].HasWeight {
		t.Errorf("after Restart: %+v; want no weight without a unit", readings)
	}
}

func TestAutoStartsAfreshWhenTheScaleWasSetAnew(t *testing.T) {
	d := synced(t, Auto)
	feed(d, times(10, "    60.0 g")...)
	readings, _ := feed(d, times(linesToDoubt+linesToSettle, "ST,GS,+00060.0  g")...)
	if len(readings) != 1 || d.shapeName() != "status-first" {
		t.Errorf("read %d, shape %s", len(readings), d.shapeName())
	}
}

// A lost byte must not turn one weight into another where the lines show that
// they have one length.
func TestLostByteOfAFixedWidth(t *testing.T) {
	for shape, line := range map[string]string{
		"sign-digits":  "+0012.50",
		"weight-unit":  "   12.50 g",
		"status-first": "ST,GS,+0012.50  g",
		"auto":         "   12.50 g",
	} {
		d := synced(t, shape)
		feed(d, times(linesToSettle+linesToFixWidth, line)...)
		before := d.counts()
		for lost := range line {
			readings, errs := feed(d, line[:lost]+line[lost+1:])
			// Without its unit the line says the same weight, moving.
			if len(readings) != 0 && (line[lost] != 'g' || readings[0].Grams != 12.5) || len(readings)+len(errs) != 1 {
				t.Errorf("%s: without byte %d: read %+v, %v", shape, lost, readings, errs)
			}
			if readings, errs = feed(d, line); len(readings) != 1 || readings[0].Grams != 12.5 {
				t.Errorf("%s: the good line after it: %v, %v", shape, readings, errs)
			}
		}
		if d.counts().Torn == before.Torn {
			t.Errorf("%s: nothing was counted as torn", shape)
		}
	}
}

// Where numbers are not padded, lines of any length are right.
func TestFreeWidth(t *testing.T) {
	d := synced(t, "weight-unit")
	feed(d, times(50, "0.0 g")...)
	if readings, errs := feed(d, "12.5 g", "2.5 g", "112.5 g", "-3.0 g"); len(readings) != 4 {
		t.Errorf("read %v, %v", readings, errs)
	}
}

// What looked fixed and is not costs some lines, not the scale.
func TestWidthThatChangesForGoodIsFreed(t *testing.T) {
	d := synced(t, "weight-unit")
	feed(d, times(20, "    0.0 g")...)
	readings, errs := feed(d, times(linesToFreeIt+5, "      0.0 g")...)
	if len(readings) != 6 || len(errs) != linesToFreeIt-1 || !errors.Is(errs[0], ErrWidth) || !errors.Is(errs[0], ErrTorn) {
		t.Errorf("%d readings, errors %v", len(readings), errs)
	}
}

// Lines with and without a unit may differ in length.
func TestWidthsOfTwoKinds(t *testing.T) {
	d := synced(t, "weight-unit")
	lines := append(times(10, "   60.0 g"), times(10, "   60.0")...)
	lines = append(lines, "   61.0 g", "   61.0", "   62.0 g")
	if _, errs := feed(d, lines...); len(errs) != 0 {
		t.Errorf("errors %v", errs)
	}
}

// Budget on a Raspberry Pi: 10 µs a line, no allocation.
func BenchmarkFeed(b *testing.B) {
	for _, c := range []struct{ shape, line string }{
		{"status-first", "ST,GS,+00060.0  g\r\n"},
		{"auto", "      60.0 g \r\n"},
	} {
		b.Run(c.shape, func(b *testing.B) {
			d := NewDecoder(mustShape(b, c.shape))
			p := []byte(c.line)
			readings := 0
			each := func(_ []byte, _ weigh.Reading, err error) {
				if err == nil {
					readings++
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				d.Feed(p, each)
			}
			if readings < b.N-linesToSettle-1 {
				b.Fatalf("%d readings of %d lines", readings, b.N)
			}
		})
	}
}
