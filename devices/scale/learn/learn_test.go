package learn

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

// shown is what the pan of each scale below holds, in g: nothing, a cup, a pour, and nothing again.
var shown = []float64{0, 0, 0, 0, 0, 0, 3.1, 7.7, 12.3, 12.3, 12.3, 12.3, 12.3, 12.3, 45.2, 60.1, 60.4, 60.4, 60.4, 60.4, 60.4, 20.2, -0.1, 0, 0, 0, 0, 0}

func moves(i int) bool { return i > 0 && shown[i] != shown[i-1] }

func either(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// dialects are made-up ways to write a line, with what of the proposal is expected.
var dialects = []struct {
	name string
	line func(i int, g float64, moving bool) string
	hint Hint
	// sends is the weight in the line in g; nil for what the pan holds.
	sends     func(g float64) float64
	certainty Certainty
	// marked: the lines tell a moving weight.
	marked bool
	// silentAt16: line 16 has no weight.
	silentAt16 bool
}{
	{name: "a named shape", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("%s,GS,%+08.1f  g", either(m, "US", "ST"), g)
	}},
	{name: "the unit is missing while it moves", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("%9.4f %s", g/1000, either(m, "", "kg"))
	}},
	{name: "gross, tare and net in one line", marked: true, certainty: Sure, sends: func(g float64) float64 { return g - 2 }, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("G %6.1f T    2.0 N %6.1f g %s", g, g-2, either(m, "~", " "))
	}},
	{name: "with labels", certainty: Sure, sends: func(g float64) float64 { return g - 2 }, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("Gross:%.1fg Tare:%.1fg Net:%.1fg", g, 2.0, g-2)
	}},
	{name: "an address before the sign", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("@01%+07.1fg%s", g, either(m, "M", "S"))
	}},
	{name: "a mark of unknown meaning", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("%s%8.1f g", either(m, "?", " "), g)
	}},
	{name: "marks in brackets", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("[%s] %s%7.1f g", either(m, "~", "="), either(g < 0, "-", " "), math.Abs(g))
	}},
	{name: "fields with names", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf(`{"w":%.1f,"u":"g","stable":%v}`, g, !m)
	}},
	{name: "parted by commas", marked: true, certainty: Sure, line: func(i int, g float64, m bool) string {
		return fmt.Sprintf("%d,%.1f,g,%s,%.1f,%.1f", i, g, either(m, "0", "1"), 22.5+float64(i%2)/10, 3.3)
	}},
	{name: "parted by tabs", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("WEIGHT:%9.1f g\tSTATUS:%s\tUNIT:1", g, either(m, "MOTION", "STABLE"))
	}},
	{name: "a date, a time and a counter", certainty: Sure, line: func(i int, g float64, _ bool) string {
		return fmt.Sprintf("29/11/2026 14:%02d:%02d  %8.1f g  #%04d", 9+i/20, 3*i%60, g, 100+i)
	}},
	{name: "a decimal comma and a sign behind", marked: true, certainty: Fair, line: func(_ int, g float64, m bool) string {
		s := fmt.Sprintf("%.1f%s G %s", math.Abs(g), either(g < 0, "-", ""), either(m, "mov", "stb"))
		return strings.Replace(s, ".", ",", 1)
	}},
	{name: "the unit written out", silentAt16: true, marked: true, certainty: Sure, line: func(i int, g float64, m bool) string {
		return either(i == 16, "ERR OVERLOAD", fmt.Sprintf("net= %.2f grams %s", g, either(m, "unstable", "stable")))
	}},
	{name: "the unit first", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("g %s %08.2f", either(m, "M", "S"), g)
	}},
	{name: "a checksum", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		s := fmt.Sprintf("W%+08.1f g %s", g, either(m, "D", "S"))
		var x byte
		for k := range len(s) {
			x ^= s[k]
		}
		return fmt.Sprintf("%s%02X", s, x)
	}},
	{name: "a checksum of an unknown kind", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		s, x := fmt.Sprintf("W%+08.1f g %s", g, either(m, "D", "S")), 77
		for k := range len(s) {
			x = (x*31 + int(s[k])*7) % 65536
		}
		return fmt.Sprintf("%s*%04X", s, x)
	}},
	{name: "bare numbers", certainty: Unsure, line: func(_ int, g float64, _ bool) string { return fmt.Sprintf("%8.2f", g) }},
	{name: "no nought before the decimal mark", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("%9s kg%s", strings.Replace(fmt.Sprintf("%.4f", g/1000), "0.", ".", 1), either(m, " M", ""))
	}},
	{name: "milligrams with apostrophes", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		digits, sign := fmt.Sprintf("%.0f", math.Abs(g)*1000), either(g < 0, "-", "")
		if len(digits) > 3 {
			digits = digits[:len(digits)-3] + "'" + digits[len(digits)-3:]
		}
		return fmt.Sprintf("%9s mg %s", sign+digits, either(m, "D", "S"))
	}},
	{name: "a price, and what the display shows", hint: Hint{ShownG: 60.4}, certainty: Sure, line: func(_ int, g float64, _ bool) string {
		return fmt.Sprintf("%7.4f;%6.2f;%6.2f", g/1000, 99.5, g*0.0995)
	}},
	{name: "an address, tenths and a status of two digits", marked: true, hint: Hint{ShownG: 60.4}, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf("@07:%s%06.0f/%s", either(g < 0, "-", "+"), math.Abs(g)*10, either(m, "04", "00"))
	}},
	{name: "the unit far before the number", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return fmt.Sprintf(`<w u="kg" motion="%s">%.4f</w>`, either(m, "1", "0"), g/1000)
	}},
	{name: "a decimal comma beside a temperature with a point", marked: true, certainty: Sure, line: func(_ int, g float64, m bool) string {
		return strings.Replace(fmt.Sprintf("%8.1f", g), ".", ",", 1) + fmt.Sprintf(" g T21.0 %s", either(m, "US", "ST"))
	}},
	{name: "bare numbers in kg", certainty: Unsure, line: func(_ int, g float64, _ bool) string { return fmt.Sprintf("%8.4f", g/1000) }},
	{name: "bare numbers and what the display shows", hint: Hint{ShownG: 60.4}, certainty: Sure, line: func(_ int, g float64, _ bool) string { return fmt.Sprintf("%8.4f", g/1000) }},
	{name: "no decimal mark", hint: Hint{ShownG: 60.4}, certainty: Sure, line: func(_ int, g float64, _ bool) string {
		return fmt.Sprintf("%s%06.0f", either(g < 0, "-", "+"), math.Abs(g)*10)
	}},
}

func linesOf(line func(int, float64, bool) string) (lines [][]byte) {
	for i, g := range shown {
		lines = append(lines, []byte(line(i, g, moves(i))))
	}
	return lines
}

func TestInfer(t *testing.T) {
	for _, d := range dialects {
		t.Run(d.name, func(t *testing.T) {
			lines := linesOf(d.line)
			p := Infer(lines, d.hint)
			if p.Certainty != d.certainty {
				t.Errorf("%v, want %v: %s: %q", p.Certainty, d.certainty, p.Line, p.Reasons)
			}
			shape, err := scale.ParseShape(p.Line)
			if err != nil {
				t.Fatalf("%q: %v", p.Line, err)
			}
			decoder := scale.NewDecoder(shape)
			decoder.Feed([]byte("\r\n"), func([]byte, weigh.Reading, error) {})
			for i, line := range lines {
				want := shown[i]
				if d.sends != nil {
					want = d.sends(want)
				}
				decoder.Feed(append(line, "\r\n"...), func(line []byte, r weigh.Reading, err error) {
					switch {
					case r.Over || i == 16 && d.silentAt16:
					case err != nil:
						t.Errorf("%s: %q: %v", p.Line, line, err)
					case r.HasWeight && math.Abs(r.Grams-want) > 1e-9, !r.HasWeight && r.Stability != weigh.Moving:
						t.Errorf("%s: %q: %+v, want %v g", p.Line, line, r, want)
					case d.marked && (r.Stability == weigh.Moving) != moves(i):
						t.Errorf("%s: %q: %+v, moving is %v", p.Line, line, r, moves(i))
					}
				})
			}
		})
	}
}

// Damaged lines before, after and among the good ones do not change the proposal.
func TestInferWithNoise(t *testing.T) {
	for _, d := range dialects {
		lines := linesOf(d.line)
		want := Infer(lines, d.hint)
		noisy := [][]byte{[]byte("\x80\x91"), []byte("0 g")}
		for i, l := range lines {
			if noisy = append(noisy, l); i%12 == 5 {
				noisy = append(noisy, l[len(l)/2:])
			}
		}
		if got := Infer(append(noisy, []byte("~~~")), d.hint); got.Line != want.Line {
			t.Errorf("%s: %s, without noise %s", d.name, got.Line, want.Line)
		}
	}
}

// What happened in the middle of a long watch is seen.
func TestInferALongWatch(t *testing.T) {
	var lines [][]byte
	for i := range 9000 {
		lines = append(lines, []byte(either(i > 4000 && i < 5000, "   87.4 g", "    0.0 g")))
	}
	p := Infer(lines, Hint{})
	if p.Certainty != Sure || p.HighG != 87.4 || p.LowG != 0 {
		t.Errorf("%+v", p)
	}
	if r, err := p.Decode([]byte("   12.5 g\x03Q")); err != nil || r.Grams != 12.5 {
		t.Errorf("decoded %+v, %v", r, err)
	}
}

// A scale that sends several lines for each weight: one of them is read.
func TestInferARecord(t *testing.T) {
	var lines [][]byte
	for _, g := range shown {
		lines = append(lines, fmt.Appendf(nil, "GROSS %8.1f g", g+2), []byte("TARE       2.0 g"), fmt.Appendf(nil, "NET   %8.1f g", g))
	}
	if p := Infer(lines, Hint{}); p.Line != "NET {sign}{weight} {unit}" || p.Certainty != Fair {
		t.Errorf("%+v", p)
	}
}

// Marks that tell limits of the weight are not taken for marks of its movement, although they change when
// it does.
func TestInferMarksOfLimits(t *testing.T) {
	for _, names := range [][3]string{{"low", "fit", "top"}, {"LO", "OK", "HI"}, {"-", "=", "+"}, {"1", "2", "4"}} {
		lines := linesOf(func(_ int, g float64, _ bool) string {
			mark := names[0]
			if g > 10 {
				mark = names[1]
			}
			if g > 50 {
				mark = names[2]
			}
			return fmt.Sprintf("%8.1f g %s", g, mark)
		})
		p := Infer(lines, Hint{})
		t.Log(p.Line, p.Certainty, p.Reasons)
		for i, line := range lines {
			r, err := p.Decode(line)
			if err == nil && p.Certainty != Unsure && (r.Stability == weigh.Stable && moves(i) || r.Stability == weigh.Moving && !moves(i)) {
				t.Errorf("%s: %q: %+v", p.Line, line, r)
			}
		}
	}
}

// What cannot be known is said.
func TestInferSaysWhenItIsUnsure(t *testing.T) {
	times := func(n int, line string) (lines [][]byte) {
		for range n {
			lines = append(lines, []byte(line))
		}
		return lines
	}
	for name, c := range map[string]struct {
		lines [][]byte
		hint  Hint
	}{
		"nothing":                       {nil, Hint{}},
		"few lines":                     {times(3, "12.3 g"), Hint{}},
		"no number":                     {times(30, "HELLO"), Hint{}},
		"noise":                         {times(30, "\x91\x80\xff"), Hint{}},
		"two weights that differ":       {linesOf(func(i int, g float64, _ bool) string { return fmt.Sprintf("%6.1f %6.1f", g, 3*g+float64(i%3)) }), Hint{}},
		"another weight than was shown": {linesOf(func(_ int, g float64, _ bool) string { return fmt.Sprintf("%6.1f", g) }), Hint{ShownG: 77}},
		"another weight than was shown, with its unit": {linesOf(func(_ int, g float64, _ bool) string { return fmt.Sprintf("%6.1f g", g) }), Hint{ShownG: 77}},
		// After the cup was tared and lifted the weights are below zero.
		// A status of few values is not the weight because 4 lb/10 are 180 g too.
		"a status that fits what was shown": {linesOf(func(_ int, g float64, m bool) string {
			return fmt.Sprintf("%v/%s", math.Round(g*7)+1000, either(m, "04", "00"))
		}), Hint{ShownG: 181.4}},
		"a counter joined by a comma": {linesOf(func(i int, g float64, _ bool) string { return fmt.Sprintf("%.0f,%04d", g, 9990-i) }), Hint{ShownG: 60.4}},
		"a date joined by a comma":    {linesOf(func(_ int, g float64, _ bool) string { return fmt.Sprintf("%.0f,2026-03-14", g) }), Hint{ShownG: 60.4}},
		"counts joined to a counter, beside a temperature": {linesOf(func(i int, g float64, _ bool) string {
			return fmt.Sprintf("%d,%.0f g 21.5", i+1, g)
		}), Hint{}},
		"a blank between thousands": {linesOf(func(_ int, g float64, _ bool) string {
			return fmt.Sprintf("1 %03.0f g", 200+g)
		}), Hint{}},
		"a letter for the sign": {linesOf(func(i int, g float64, _ bool) string {
			tared := either(i < 14, "0", "12.3")
			return fmt.Sprintf("%s %6.1f g", either(i > 21, "B", "A"), math.Abs(g-map[string]float64{"0": 0, "12.3": 12.3}[tared]))
		}), Hint{}},
		"a bit for the sign": {linesOf(func(i int, g float64, _ bool) string {
			return fmt.Sprintf("%d;%6.1f;g", map[bool]int{false: 16, true: 48}[i > 21], math.Abs(g-map[bool]float64{false: 0, true: 12.3}[i >= 14]))
		}), Hint{}},
		"a sign apart behind the number": {linesOf(func(i int, g float64, _ bool) string {
			return fmt.Sprintf("%6.1f %s g", math.Abs(g-12), either(g < 12, "-", " "))
		}), Hint{}},
		// 1,234.5 would be read as 1.234.
		"a mark for thousands": {linesOf(func(_ int, g float64, _ bool) string { return fmt.Sprintf("1,%05.1f", 200+g) }), Hint{}},
	} {
		if p := Infer(c.lines, c.hint); p.Certainty != Unsure || len(p.Reasons) == 0 {
			t.Errorf("%s: %+v", name, p)
		}
	}
	if p := Infer(times(40, "ST,GS,+0012.3 g"), Hint{}); p.Certainty != Fair {
		t.Errorf("a weight that never changed: %+v", p)
	}
}

func TestSplit(t *testing.T) {
	for received, want := range map[string][]string{
		"2.3 g\r\n12.3 g\r\n12.4": {"12.3 g"},
		"\x02a\x03\x02b\x03":      {"a\x03", "b\x03"},
		"x\x02a\x03Q\r\x02b":      {"a\x03Q"},
	} {
		var got []string
		for _, l := range Split([]byte(received)) {
			got = append(got, string(l))
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%q: %q, want %q", received, got, want)
		}
	}
}

// withParity sets bit 7 so that each byte has an even or odd number of ones.
func withParity(line string, odd int) []byte {
	out := []byte(line)
	for i, c := range out {
		ones := 0
		for b := c; b != 0; b &= b - 1 {
			ones++
		}
		if ones%2 != odd {
			out[i] |= 0x80
		}
	}
	return out
}

func TestFrameOf(t *testing.T) {
	const line = "ST,GS,+00060.0  g\r\n"
	for want, received := range map[string][]byte{
		"8N1": []byte(line), "7E1": withParity(line, 0), "7O1": withParity(line, 1), "": []byte("\x00\xf8\x91\x00\xfe\x80\x0a\xff"),
	} {
		if got := FrameOf(received); got != want {
			t.Errorf("%q: %q, want %q", received, got, want)
		}
	}
}

// Whatever comes in, a proposal is a pattern that can be used, and its figures fit.
func FuzzInfer(f *testing.F) {
	for _, d := range dialects {
		var all []byte
		for _, l := range linesOf(d.line) {
			all = append(append(all, l...), "\r\n"...)
		}
		f.Add(all, d.hint.ShownG)
	}
	f.Add([]byte("\r+.5 g\r-.25 g\r1'000 mg-\r12'000 mg\r1'2 g\r:.5\r'123\r.123\r"), 0.5)
	f.Add([]byte("\r\x02{}|=\x03Z\r\n1-2-3\r1+2\r.5\r5.\r+\r-\r9999999999999999999999 g\r"), 1.0)
	for _, form := range forms {
		f.Add(form.dialect().sent(), 0.0)
	}
	f.Fuzz(func(t *testing.T, received []byte, grams float64) {
		FrameOf(received)
		lines := Split(received)
		p := Infer(lines, Hint{ShownG: grams})
		if p.Line == "" {
			if p.Certainty != Unsure || len(p.Reasons) == 0 {
				t.Errorf("%q: nothing proposed, and %+v", received, p)
			}
			return
		}
		if _, err := scale.ParseShape(p.Line); err != nil {
			t.Errorf("%q: %v", received, err)
		}
		if p.Decoded > p.Lines || p.Decoded == 0 || p.LowG > p.HighG || math.IsNaN(p.LowG) || math.IsInf(p.HighG, 0) {
			t.Errorf("%q: %+v", received, p)
		}
	})
}

// Budget on a Raspberry Pi: a second for a minute of lines.
func BenchmarkInferAMinute(b *testing.B) {
	var lines [][]byte
	for i := range 600 {
		g := 60 * math.Max(0, math.Sin(float64(i)/100))
		lines = append(lines, fmt.Appendf(nil, "29/11/2026 14:%02d:%02d %s %8.1f g #%04d", i/600, i/10%60, either(i%50 > 25, "US", "ST"), g, i))
	}
	for b.Loop() {
		if p := Infer(lines, Hint{}); p.Certainty != Sure {
			b.Fatal(p)
		}
	}
}
