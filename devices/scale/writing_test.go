package scale

import (
	"errors"
	"math"
	"strings"
	"testing"

	"potlifed/model/weigh"
)

// The lines are made up, one for each way to write a number or a mark, with what was damaged beside it.
func TestWaysToWrite(t *testing.T) {
	u, n := weigh.StabilityUnknown, weigh.TareUnknown
	for _, c := range []struct {
		pattern, line string
		want          weigh.Reading
		err           error
	}{
		{"{weight,} {unit}", "1,218.90 g", reading(1218.9, u, n), nil},
		{"{weight,} {unit}", "218.90 g", reading(218.9, u, n), nil},
		{"{weight,} {unit}", "1,002 g", reading(1002, u, n), nil},
		{"{weight,} {unit}", "1,218,900 g", reading(1218900, u, n), nil},
		{"{weight,} {unit}", "1,18.90 g", weigh.Reading{}, ErrUnknown},
		{"{weight,} {unit}", "1218.90 g", weigh.Reading{}, ErrUnknown},
		{"{weight,} {unit}", ",218.90 g", weigh.Reading{}, ErrUnknown},
		{"{weight.} {unit}", "1.218,90 g", reading(1218.9, u, n), nil},
		{"{weight.} {unit}", "218,90 g", reading(218.9, u, n), nil},
		{"{weight.} {unit}", "218.90 g", weigh.Reading{}, ErrUnknown},
		{"N,{sign}{weight},{stable=S|moving=M},{unit}", "N,-1002,S,g", reading(-1002, weigh.Stable, n), nil},
		{"N,{sign}{weight},{stable=S|moving=M},{unit}", "N,10,2,S,g", reading(10.2, weigh.Stable, n), nil},
		{"N,{sign}{weight},{stable=S|moving=M},{unit}", "N,10,,S,g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weight}{unit=g},{stable=S|moving=M}", "1002,M", reading(1002, weigh.Moving, n), nil},
		{"{sign}{weight}{unit=g};{stable=S|moving=M}", "1002,;M", weigh.Reading{}, ErrUnknown},
		{"{sign}{weight } {unit}", "-1 002 g", reading(-1002, u, n), nil},
		{"{sign}{weight } {unit}", "12 002 034,5 g", reading(12002034.5, u, n), nil},
		{"{sign}{weight } {unit}", "1 02 g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weight } {unit}", "1002 g", weigh.Reading{}, ErrUnknown},
		{"{weight[]} {unit}", "12.3[4] g", reading(12.34, u, n), nil},
		{"{weight[]} {unit}", "12.34 g", reading(12.34, u, n), nil},
		{"{weight[]} {unit}", "12.[4] g", reading(12.4, u, n), nil},
		{"{weight[]} {unit}", "12.3[] g", weigh.Reading{}, ErrUnknown},
		{"{weight[]} {unit}", "12.3[4 g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weightE} {unit}", "-1.2340E+02 g", reading(-123.4, u, n), nil},
		{"{sign}{weightE} {unit}", "+1.2340E-02 g", reading(0.01234, u, n), nil},
		{"{sign}{weightE} {unit}", "+1.2340e2 kg", reading(123400, u, n), nil},
		{"{sign}{weightE} {unit}", "+1.2340 g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weightE} {unit}", "+1.2340E g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weightE} {unit}", "+9.9999E+99 g", weigh.Reading{}, ErrUnknown},
		{"{sign}{weightE} {unit}", "+999999.9E+09 g", weigh.Reading{}, ErrUnknown},
		{"={weight<}{sign}{unit=g}", "=04.2100", reading(12.4, u, n), nil},
		{"={weight<}{sign}{unit=g}", "=04.2100-", reading(-12.4, u, n), nil},
		{"={weight<}{sign}{unit=g}", "=0421", reading(1240, u, n), nil},
		{"={weight<}{sign}{unit=g}", "=.421", weigh.Reading{}, ErrUnknown},
		{"={weight<}{sign}{unit=g}", "=04.", weigh.Reading{}, ErrUnknown},
		{"{pad=.}{sign}{weight} {unit}", "....-12.4 g", reading(-12.4, u, n), nil},
		{"{pad=.}{sign}{weight} {unit}", "12.4 g", reading(12.4, u, n), nil},
		{"{pad=*}{sign}{weight} {unit}", "....12.4 g", weigh.Reading{}, ErrUnknown},
		{"{minus=neg|plus=pos} {weight} {unit}", "neg 12.4 g", reading(-12.4, u, n), nil},
		{"{minus=neg|plus=pos} {weight} {unit}", "pos 12.4 g", reading(12.4, u, n), nil},
		{"{minus=neg|plus=pos} {weight} {unit}", "neg 0.0 g", reading(0, u, n), nil},
		{"{minus=(|}{weight}{any=)|} {unit}", "(12.4) g", reading(-12.4, u, n), nil},
		{"{bits:2|moving=0|net=2|over=3|minus=4} {weight}{unit=g}", "41 12.4", reading(12.4, weigh.Moving, n), nil},
		{"{bits:2|moving=0|net=2|over=3|minus=4} {weight}{unit=g}", "54 12.4", reading(-12.4, weigh.Stable, weigh.Net), nil},
		{"{bits:2|moving=0|net=2|over=3|minus=4} {weight}{unit=g}", "4d 00.0", weigh.Reading{Over: true, Stability: weigh.Moving, Tare: weigh.Net}, nil},
		{"{bits:2|moving=0|net=2|over=3|minus=4} {weight}{unit=g}", "4X 12.4", weigh.Reading{}, ErrUnknown},
		{"{bits:2|moving=0|net=2|over=3|minus=4} {weight}{unit=g}", "4", weigh.Reading{}, ErrUnknown},
		{"{bits:4|moving=0|minus=11|over=15} {weight}{unit=g}", "0801 12.4", reading(-12.4, weigh.Moving, n), nil},
		{"{bits:4|moving=0|minus=11|over=15} {weight}{unit=g}", "8000 00.0", weigh.Reading{Over: true, Stability: weigh.Stable}, nil},
		{"{bits:4|moving=0|minus=11|over=15} {weight}{unit=g}", "080G 12.4", weigh.Reading{}, ErrUnknown},
		{"{bits:4|moving=0|minus=11|over=15} {weight}{unit=g}", "080", weigh.Reading{}, ErrUnknown},
		{"{bits:1|stable=1}{weight}{unit=g}", "B12.4", reading(12.4, weigh.Stable, n), nil},
		{"{bits:1|stable=1}{weight}{unit=g}", "A12.4", reading(12.4, weigh.Moving, n), nil},
		{"{bits:1|minus=1}{weight}{unit=g}", "B12.4", reading(-12.4, u, n), nil},
		{"{sign}{pounds} lb {weight} {unit}", "- 1 lb  2.5 oz", reading(-18.5*28.349523125, u, n), nil},
		{"{sign}{pounds} lb {weight} {unit}", "  0 lb  0.0 oz", reading(0, u, n), nil},
		{"{sign}{pounds} lb {weight} {unit}", "    lb  0.5 oz", weigh.Reading{}, ErrUnknown},
		{"{weight}ct{unit=ct}", "12.5ct", reading(2.5, u, n), nil},
		{`p\xE8se {weight} {unit}`, "p\xe8se 12.4 g", reading(12.4, u, n), nil},
		{"pèse {weight} {unit}", "p\xe8se 12.4 g", reading(12.4, u, n), nil},
		{`{stable=\xBB|moving=\xB1}{weight} {unit}`, "\xb112.4 g", reading(12.4, weigh.Moving, n), nil},
		{`\x01{weight} {unit}`, "\x0112.4 g", reading(12.4, u, n), nil},
		{`\x01{weight} {unit}`, "\x01\xe812.4 g", weigh.Reading{}, ErrUnknown},
		{"{skip} {weight} {unit}", "p\xe8se 12.4 g", weigh.Reading{}, ErrUnknown},
	} {
		got, err := decode(mustShape(t, c.pattern), []byte(c.line))
		if math.Abs(got.Grams-c.want.Grams) < 1e-11 {
			got.Grams = c.want.Grams
		}
		if got != c.want || !errors.Is(err, c.err) || (err == nil) != (c.err == nil) {
			t.Errorf("%s: %q: got %+v, %v; want %+v, %v", c.pattern, c.line, got, err, c.want, c.err)
		}
		shape, line := mustShape(t, c.pattern), []byte(c.line)
		if n := testing.AllocsPerRun(5, func() { _, _ = decode(shape, line) }); n != 0 {
			t.Errorf("%s: %q: %v allocations", c.pattern, c.line, n)
		}
	}
}

func TestPatternsOfWritingRefused(t *testing.T) {
	for pattern, want := range map[string]string{
		"{weightE/10}{unit}":               "no exponent beside it",
		"{weight<<}{unit}":                 "want {weight}",
		"{pad=}{weight}{unit}":             "want one character",
		"{pad=5}{weight}{unit}":            "no part of a number",
		"{pad=-}{weight}{unit}":            "no part of a number",
		"{bits:3|moving=0}{weight}{unit}":  "want 1 for a character",
		"{bits:2}{weight}{unit}":           "want 1 for a character",
		"{bits:2|moving=8}{weight}{unit}":  "to 7",
		"{bits:4|moving=16}{weight}{unit}": "to 15",
		"{bits:4|moving=0x}{weight}{unit}": "want what a bit means",
		"{bits:2|wild=1}{weight}{unit}":    "want what a bit means",
		`{weight}{unit}\x0D`:               "ends a line",
		"Вес {weight}{unit}":               "want ASCII",
		"{weight}{unit}\xff":               "want ASCII",
	} {
		if _, err := ParseShape(pattern); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", pattern, err, want)
		}
	}
}

// A padded part that is one byte shorter, beside a mark of one byte, has another length of line: that is no lost byte.
func TestWidthsOfAPartAndAMark(t *testing.T) {
	d := synced(t, "{sign}{weight} {unit} {skip} oz {moving=?|stable=}")
	got := 0
	each := func(_ []byte, r weigh.Reading, err error) {
		if err != nil {
			t.Errorf("%v", err)
		}
		got++
	}
	for range 12 {
		d.Feed([]byte("    60.00 g     2.116 oz ?\r\n"), each)
	}
	for range 12 {
		d.Feed([]byte("  1218.90 g    42.995 oz \r\n"), each)
	}
	if got != 24 {
		t.Errorf("%d lines, want 24", got)
	}
}
