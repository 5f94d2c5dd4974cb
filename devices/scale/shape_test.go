package scale

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"potlifed/model/weigh"
)

// The lines here are made up after the forms in common use; none was captured.
var decodeCases = []struct {
	shape, line string
	want        weigh.Reading
	err         error
}{
	{"status-first", "ST,GS,+00060.0  g", reading(60, weigh.Stable, weigh.Gross), nil},
	{"status-first", "US,NT,-00012.5  g", reading(-12.5, weigh.Moving, weigh.Net), nil},
	{"status-first", "ST,NT,+  0.060 kg", reading(60, weigh.Stable, weigh.Net), nil},
	{"status-first", "S,N,+ 60,0 g", reading(60, weigh.Stable, weigh.Net), nil},
	{"status-first", "ST,+0060.00 g", reading(60, weigh.Stable, weigh.TareUnknown), nil},
	{"status-first", "OL,GS,+------- g", weigh.Reading{Over: true, Tare: weigh.Gross}, nil},
	{"status-first", "OL,GS,+99999.9  g", weigh.Reading{Over: true, Tare: weigh.Gross}, nil},
	{"status-first", "UL,NT,", weigh.Reading{Under: true, Tare: weigh.Net}, nil},
	{"status-first", "OL", weigh.Reading{Over: true}, nil},
	{"status-first", "ST,GS,+00060.0 lb", reading(60*453.59237, weigh.Stable, weigh.Gross), nil},
	{"status-first", "ST,GS,+00060.0 tl", weigh.Reading{}, ErrUnit},
	{"status-first", "ST,GS,+00060.0   ", weigh.Reading{}, ErrUnknown},
	{"status-first", "T,GS,+00060.0  g", weigh.Reading{}, ErrUnknown},
	{"status-first", "XST,GS,+00060.0  g", weigh.Reading{}, ErrUnknown},
	{"status-first", "ST,GS,+00060.0  g!", weigh.Reading{}, ErrUnknown},
	{"letters-first", "S S      60.00 g", reading(60, weigh.Stable, weigh.TareUnknown), nil},
	{"letters-first", "S D     -60.00 g", reading(-60, weigh.Moving, weigh.TareUnknown), nil},
	{"letters-first", "S +", weigh.Reading{Over: true}, nil},
	{"letters-first", "S -", weigh.Reading{Under: true}, nil},
	{"letters-first", "S I", weigh.Reading{}, ErrUnknown},
	{"letters-first", "S S      60.00", weigh.Reading{}, ErrUnknown},
	{"tare-first", "N     +    60.0 g  ", reading(60, weigh.StabilityUnknown, weigh.Net), nil},
	{"tare-first", "G     -     0,5 g  ", reading(-0.5, weigh.StabilityUnknown, weigh.Gross), nil},
	{"tare-first", "N     +    60.0    ", weigh.Reading{Stability: weigh.Moving, Tare: weigh.Net}, nil},
	{"tare-first", "NT +60.0 g", reading(60, weigh.StabilityUnknown, weigh.Net), nil},
	{"tare-first", "N     +      OL    ", weigh.Reading{Over: true, Tare: weigh.Net}, nil},
	{"stability-last", "    60.0 g S", reading(60, weigh.Stable, weigh.TareUnknown), nil},
	{"stability-last", "    60.0 g ?", reading(60, weigh.Moving, weigh.TareUnknown), nil},
	{"stability-last", "   -60.0 kg US NT", reading(-60000, weigh.Moving, weigh.Net), nil},
	{"stability-last", "    60.0 g", weigh.Reading{}, ErrUnknown},
	{"tare-last", "    60.0 g N", reading(60, weigh.StabilityUnknown, weigh.Net), nil},
	{"tare-last", "    60.0 oz N", reading(60*28.349523125, weigh.StabilityUnknown, weigh.Net), nil},
	{"tare-last", "    60.0 ozt N", weigh.Reading{}, ErrUnit},
	{"weight-unit", "   60.0 g", reading(60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "-  60.0 g", reading(-60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "  -60.0g ", reading(-60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "  0.1234KG", reading(123.4, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "1 kg", reading(1000, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "   60.0  ", weigh.Reading{Stability: weigh.Moving}, nil},
	{"weight-unit", "-0.0 g", reading(0, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "  OL  ", weigh.Reading{Over: true}, nil},
	{"weight-unit", "H", weigh.Reading{Over: true}, nil},
	{"weight-unit", " ^^^^^^ g", weigh.Reading{Over: true}, nil},
	{"weight-unit", "------", weigh.Reading{Over: true}, nil},
	{"weight-unit", "----.- g", weigh.Reading{Over: true}, nil},
	{"weight-unit", "UL", weigh.Reading{Under: true}, nil},
	{"weight-unit", "LLLL", weigh.Reading{Under: true}, nil},
	{"weight-unit", "____ g", weigh.Reading{Under: true}, nil},
	{"weight-unit", "  1 lb", reading(453.59237, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "  2 lb 3.5 oz", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "  16.0 OZ", reading(453.59237, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"weight-unit", "  2.13 oz t", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "  2.13 lbs", weigh.Reading{}, ErrUnit},
	{"weight-unit", "  2.13 l", weigh.Reading{}, ErrUnit},
	{"weight-unit", "   12 pcs", weigh.Reading{}, ErrUnit},
	{"weight-unit", " 300.0 ct", weigh.Reading{}, ErrUnit},
	{"weight-unit", "  50.0 gn", weigh.Reading{}, ErrUnit},
	{"weight-unit", "  50.0 G", weigh.Reading{}, ErrUnit},
	{"weight-unit", "  50.0 mg", weigh.Reading{}, ErrUnit},
	{"weight-unit", "  50.0 %", weigh.Reading{}, ErrUnit},
	{"weight-unit", "60. g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", ".5 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "1,234.5 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "60.0 5 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "6\x00.0 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "\xb60.0 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "+-60.0 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "--60.0 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "---5 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "1234567890123 g", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "", weigh.Reading{}, ErrUnknown},
	{"weight-unit", "g", weigh.Reading{}, ErrUnknown},
	{"sign-digits", "+0060.00", reading(60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"sign-digits", "-   2.50", reading(-2.5, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"sign-digits", "0060.00", weigh.Reading{}, ErrUnknown},
	{"sign-digits", "+OL", weigh.Reading{Over: true}, nil},
	{"sign-digits", "+0060.00 g", weigh.Reading{}, ErrUnknown},
	{"auto", "ST,GS,+00060.0  g", reading(60, weigh.Stable, weigh.Gross), nil},
	{"auto", "    60.0 g S", reading(60, weigh.Stable, weigh.TareUnknown), nil},
	{"auto", "   2.00 lb", reading(2*453.59237, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"auto", "HELLO", weigh.Reading{}, ErrUnknown},
	// Patterns.
	{"{sign}{weight} {unit} {moving=?|stable=}", "60.0 g", reading(60, weigh.Stable, weigh.TareUnknown), nil},
	{"{sign}{weight} {unit} {moving=?|stable=}", "60.0 g ?", reading(60, weigh.Moving, weigh.TareUnknown), nil},
	{"W={sign}{weight:8}{unit=kg}", "W=-   0.060", reading(-60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"W={sign}{weight:8}{unit=kg}", "W=    0.060", reading(60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"W={sign}{weight:8}{unit=kg}", "W=   0.060", weigh.Reading{}, ErrUnknown},
	{"W={sign!}{weight:8}{unit=kg}", "W=    0.060 ", weigh.Reading{}, ErrUnknown},
	{"{weight:8}{unit}", "   -60.0g", reading(-60, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight:8}{unit}", "  -60.0g", weigh.Reading{}, ErrUnknown},
	{"{weight:8}{unit}", " OL     g", weigh.Reading{Over: true}, nil},
	{"{weight} {unit}", "-60.0 g", weigh.Reading{}, ErrUnknown},
	{"{over=OL|stable=ST}{weight:6}{unit}", "OL~~~~~~g", weigh.Reading{Over: true}, nil},
	{"{sign}{weight:6}{unit=oz}", "-   4.0", reading(-4*28.349523125, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight}{unit=lb}", "0.50", reading(0.5*453.59237, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight/10}{unit=g}", "+000604", reading(60.4, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight:6/1000} {unit}", "-  604 kg", weigh.Reading{}, ErrUnknown},
	{"{sign}{weight:6/1000} {unit}", "-   604 kg", reading(-604, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight/10}{unit=g}", "+0060.4", weigh.Reading{}, ErrUnknown},
	{"{weight}{sign} {unit}", "12.5- g", reading(-12.5, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight}{sign} {unit}", "12.5 g", reading(12.5, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{skip} {skip:8} {sign}{weight} {unit}", "#17 12:30:05 -2.0 g", reading(-2, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{skip};{sign}{weight};{unit}", "9;2.0;g", reading(2, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{skip};{sign}{weight};{unit}", "10;2.0;g", reading(2, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{skip};{sign}{weight};{unit}", ";2.0;g", weigh.Reading{}, ErrUnknown},
	{"{skip:20}{weight}{unit}", "2.0 g", weigh.Reading{}, ErrUnknown},
	{"{{\"w\":{sign}{weight},\"ok\":{stable=true|moving=false}}}{unit=g}", "{\"w\":2.0,\"ok\":false}", reading(2, weigh.Moving, weigh.TareUnknown), nil},
	{"{sign}{weight.3} {unit=oz}", "   .500", reading(14.1747615625, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight.3} {unit=g}", "  -.218", reading(-0.218, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight.3} {unit=g}", " 1.218", reading(1.218, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight.3} {unit=g}", " 1.21", weigh.Reading{}, ErrUnknown},
	{"{sign}{weight.3} {unit=g}", " 1.2181", weigh.Reading{}, ErrUnknown},
	{"{sign}{weight.3} {unit=g}", " 218", weigh.Reading{}, ErrUnknown},
	{"{weight:8.2} {unit}", "    -.25 g", reading(-0.25, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight'}{sign} mg{unit=mg}", "13'350-mg", reading(-13.35, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight'}{sign} mg{unit=mg}", "1'213'350 mg", reading(1213.35, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight'}{sign} mg{unit=mg}", "350 mg", reading(0.35, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight'}{sign} {unit}", "1'350.5 g", reading(1350.5, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight'}{sign} {unit}", "1'35 g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "1350 g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "1350'000 g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "1'35'000 g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "1'350' g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "1''350 g", weigh.Reading{}, ErrUnknown},
	{"{weight'}{sign} {unit}", "'350 g", weigh.Reading{}, ErrUnknown},
	{"{weight} {unit}", "1'350 g", weigh.Reading{}, ErrUnknown},
	{"{weight/1000}{unit=mg}", "999999999999", reading(999999.999999, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight}{unit=mg}", "0.99999999999", reading(0.00099999999999, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{sign}{weight} {unit} {any=Z|}", "0.0\tg\tZ", reading(0, weigh.StabilityUnknown, weigh.TareUnknown), nil},
	{"{weight}{unit}{net=N|gross=G}", "60.0gN", reading(60, weigh.StabilityUnknown, weigh.Net), nil},
}

func reading(grams float64, s weigh.Stability, t weigh.Tare) weigh.Reading {
	return weigh.Reading{Grams: grams, HasWeight: true, Stability: s, Tare: t}
}

func mustShape(t testing.TB, name string) Shape {
	t.Helper()
	s, err := ParseShape(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// decode decodes one line without what a Decoder knows of the lines before it.
func decode(s Shape, line []byte) (weigh.Reading, error) {
	m, err := s.match(line)
	if err != nil {
		return weigh.Reading{}, err
	}
	return m.reading(), nil
}

func TestDecode(t *testing.T) {
	for _, c := range decodeCases {
		got, err := decode(mustShape(t, c.shape), []byte(c.line))
		if math.Abs(got.Grams-c.want.Grams) < 1e-11 {
			got.Grams = c.want.Grams // oz and lb are rounded twice
		}
		if got != c.want || !errors.Is(err, c.err) || (err == nil) != (c.err == nil) {
			t.Errorf("%s: %q: got %+v, %v; want %+v, %v", c.shape, c.line, got, err, c.want, c.err)
		}
		if err != nil && !errors.Is(err, ErrUnknown) {
			t.Errorf("%s: %q: %v does not wrap ErrUnknown", c.shape, c.line, err)
		}
	}
	var none Shape
	if r, err := decode(none, []byte("60.0 g")); err == nil {
		t.Errorf("the zero shape decoded %+v", r)
	}
}

// A line with a weight fits at most one of the shapes among which auto chooses,
// so what auto says does not depend on their order. What a display shows out of
// range may fit several, which then say the same.
func TestShapesExcludeEachOther(t *testing.T) {
	auto := mustShape(t, Auto)
	for _, c := range decodeCases {
		var fits []string
		var first weigh.Reading
		for i := range auto.candidates {
			r, err := decode(auto.candidates[i], []byte(c.line))
			if err != nil {
				continue
			}
			if len(fits) == 0 {
				first = r
			}
			fits = append(fits, auto.candidates[i].name)
			if len(fits) > 1 && (r != first || !r.Over && !r.Under) {
				t.Errorf("%q fits %v: %+v and %+v", c.line, fits, first, r)
			}
		}
	}
}

// Any weight that a scale can show comes back as the same float64 as the
// decimal number has, in each shape.
func TestDecodeGivesTheNumberThatWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mantissa := rapid.Int64Range(0, 99_999_999).Draw(t, "mantissa")
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		digits := padded(mantissa, decimals)
		negative := rapid.Bool().Draw(t, "negative")
		want := float64(mantissa) / math.Pow10(decimals)
		sign := "+"
		if negative {
			sign = "-"
			if mantissa != 0 {
				want = -want
			}
		}
		if rapid.Bool().Draw(t, "comma") {
			digits = strings.Replace(digits, ".", ",", 1)
		}
		gap := strings.Repeat(" ", rapid.IntRange(0, 5).Draw(t, "gap"))
		for name, line := range map[string]string{
			"status-first":   "ST,GS," + sign + gap + digits + gap + "g",
			"letters-first":  "S S" + gap + sign + digits + " g",
			"tare-first":     "N" + gap + sign + gap + digits + gap + "g" + gap,
			"stability-last": gap + sign + digits + "g " + gap + "S",
			"weight-unit":    gap + sign + gap + digits + gap + "g",
			"sign-digits":    sign + digits,
		} {
			s, err := ParseShape(name)
			if err != nil {
				t.Fatal(err)
			}
			r, err := decode(s, []byte(line))
			if err != nil || !r.HasWeight || r.Grams != want {
				t.Fatalf("%s: %q: got %v, %v; want %v", name, line, r, err, want)
			}
		}
	})
}

func padded(mantissa int64, decimals int) string {
	digits := []byte("000000000")
	for i := len(digits) - 1; i >= 0; i-- {
		digits[i] = byte('0' + mantissa%10)
		mantissa /= 10
	}
	whole := strings.TrimLeft(string(digits[:len(digits)-decimals]), "0")
	if whole == "" {
		whole = "0"
	}
	if decimals == 0 {
		return whole
	}
	return whole + "." + string(digits[len(digits)-decimals:])
}

func TestParseShapeRefuses(t *testing.T) {
	for pattern, want := range map[string]string{
		"":                                          "want one of auto",
		"fancy":                                     "want one of auto",
		"{weight}":                                  "0 times {unit}",
		"{unit}":                                    "0 times {weight}",
		"{weight}{weight}{unit}":                    "2 times {weight}",
		"{weight}{unit}{unit}":                      "2 times {unit}",
		"{sign}{sign}{weight}{unit}":                "2 times {sign}",
		"{weight":                                   "not closed",
		"{weight}}{unit}":                           "not opened",
		"{weight}{unit}{stable}":                    "want weight, sign, unit, skip",
		"{weight}{unit}{weird=X}":                   "want weight, sign, unit, skip",
		"{weight}{unit}{net=N|gross=N}":             "stands twice",
		"{weight:0}{unit}":                          "from 1 to 24",
		"{weight.0}{unit}":                          "from 1 to 6",
		"{weight.x}{unit}":                          "from 1 to 6",
		"{weight.3/10}{unit}":                       "no parts beside it",
		"{weight:8.}{unit}":                         "from 1 to 6",
		"{weight''}{unit}":                          "want {weight}",
		"{weight:99999999999}{unit}":                "from 1 to 24",
		"{weight/7}{unit}":                          "want 10, 100 or 1000",
		"{weights}{unit}":                           "want {weight}",
		"{weight:x}{unit}":                          "from 1 to 24",
		"{skip:0}{weight}{unit}":                    "from 1 to 24",
		"{weight}{unit}{check=crc}":                 "want xor, sum or negated-sum",
		"{weight}{unit}{check=sum,x}":               "checksum option \"x\"",
		"{weight}{unit}{check=sum,byte}":            "want after-etx",
		"{weight}{check=xor}{unit}":                 "want it at the end",
		"{weight}{unit}\x01":                        "printable",
		"{weight}{unit}" + strings.Repeat("x", 300): "longer than 256",
	} {
		if _, err := ParseShape(pattern); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", pattern, err, want)
		}
	}
	for _, name := range ShapeNames() {
		if s := mustShape(t, name); s.name != name {
			t.Errorf("the shape %q calls itself %q", name, s.name)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, c := range decodeCases {
		f.Add([]byte(c.line))
	}
	var shapes []Shape
	for _, name := range ShapeNames() {
		shapes = append(shapes, mustShape(f, name))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		before := bytes.Clone(line)
		for _, s := range shapes {
			r, err := decode(s, line)
			checkReading(t, line, r, err)
		}
		if !bytes.Equal(before, line) {
			t.Error("the line was changed")
		}
	})
}

// checkReading demands what holds of every answer.
func checkReading(t *testing.T, line []byte, r weigh.Reading, err error) {
	t.Helper()
	switch {
	case err != nil && r != weigh.Reading{}:
		t.Errorf("%q: both %+v and %v", line, r, err)
	case err != nil && !errors.Is(err, ErrUnknown) && !errors.Is(err, ErrCheck):
		t.Errorf("%q: %v does not wrap ErrUnknown", line, err)
	case r.HasWeight && (math.IsNaN(r.Grams) || math.Abs(r.Grams) > 1e15):
		t.Errorf("%q: %g g", line, r.Grams)
	case !r.HasWeight && r.Grams != 0, r.HasWeight && (r.Over || r.Under), !r.At.IsZero():
		t.Errorf("%q: %+v", line, r)
	}
}

func FuzzParseShape(f *testing.F) {
	for _, c := range decodeCases {
		f.Add(c.shape, []byte(c.line))
	}
	for _, n := range named {
		f.Add(n.pattern, []byte("ST,GS,+00060.0  g"))
	}
	f.Add("#{skip:2} {skip} {sign}{weight} {unit}{check=xor,stx}", []byte("#01 12:30 +60.0 g5A"))
	f.Add("{weight'}{sign} mg{unit=mg} {moving=v|stable==}", []byte("  13'350-mg v"))
	f.Add("{weight':12.3} {unit}", []byte(" -1'013.350 g"))
	f.Add("{sign}{weight.3} {unit}", []byte("   -.218 oz"))
	f.Add("{bits:4|moving=0|minus=11}{weight} {unit}", []byte("0801 12.4 g"))
	f.Add("{bits:2|moving=0|over=3}{pad=.}{sign}{weight,} {unit}", []byte("41...1,218.9 g"))
	f.Add(`\x01{minus=(|}{pounds} lb {weightE} {unit}`, []byte("\x01(1 lb 1.5E+09 oz"))
	f.Add("={weight<}{sign}{unit=ct}", []byte("=04.21-"))
	f.Add("{weight[]} {weight } {unit}", []byte("1 002.3[4] g"))
	f.Add("{sign}{weight} {unit}{check=sum,after-etx,etx,byte}", []byte("+60.0 g\x03\x0d"))
	f.Fuzz(func(t *testing.T, pattern string, line []byte) {
		s, err := ParseShape(pattern)
		if err != nil {
			return
		}
		r, err := decode(s, line)
		checkReading(t, line, r, err)
	})
}

// Budget on a Raspberry Pi: 10 µs a line, no allocation.
func BenchmarkDecode(b *testing.B) {
	for _, c := range []struct{ shape, line string }{
		{"status-first", "ST,GS,+00060.0  g"},
		{"weight-unit", "      60.0 g "},
		{"auto", "      60.0 g "},
	} {
		b.Run(c.shape, func(b *testing.B) {
			s, line := mustShape(b, c.shape), []byte(c.line)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := decode(s, line); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func TestDecodeAllocatesNothing(t *testing.T) {
	for _, c := range decodeCases {
		s, line := mustShape(t, c.shape), []byte(c.line)
		if n := testing.AllocsPerRun(10, func() { _, _ = decode(s, line) }); n != 0 {
			t.Errorf("%s: %q: %v allocations", c.shape, c.line, n)
		}
	}
}
