package climate

import (
	"errors"
	"math"
	"strings"
	"testing"

	"potlifed/devices/link"
	"potlifed/model/air"
)

// The lines are made up, after the usual forms.
func TestLines(t *testing.T) {
	want := air.State{TemperatureC: 21.5, HumidityPct: 48.3}
	for _, c := range []struct {
		pattern, line string
		want          air.State
		err           error
	}{
		{"{temperature},{humidity}", "21.5,48.3", want, nil},
		{"{temperature},{humidity}", "21.5,48.3  ", want, nil},
		{"{temperature},{humidity}", "21,48", air.State{TemperatureC: 21, HumidityPct: 48}, nil},
		{"{temperature} {humidity}.", "21.5 48.3.", want, nil},
		{"{temperature};{humidity}", "21,5;48,3", want, nil},
		{"T: {temperature} C RH: {humidity} %", "T:  21.5 C  RH:48.3%", want, nil},
		{"RH= {humidity} %RH T= {temperature} 'C", "RH=  48.3 %RH T=  21.5 'C", want, nil},
		{"{word} {temperature} {word} {humidity} {word}", "17:05:03 21.5 degC 48.3 %RH", want, nil},
		{"{word},{temperature},{humidity},{word}", "1013.2,21.5,48.3,OK", want, nil},
		{"{humidity:6}{temperature:6}", "  48.3  21.5", want, nil},
		{"{temperature} {humidity}", "-5.1 80", air.State{TemperatureC: -5.1, HumidityPct: 80}, nil},
		{"{temperature} {humidity}", "+21.5 100.7", air.State{TemperatureC: 21.5, HumidityPct: 100}, nil},
		{"{temperature} {humidity}", "21.5 103", air.State{}, ErrImplausible},
		{"{temperature} {humidity}", "215 48.3", air.State{}, ErrImplausible},
		{"{temperature} {humidity}", "21.5 ", air.State{}, ErrGarbled},
		{"{temperature} {humidity}", "21.5 48.3 x", air.State{}, ErrGarbled},
		{"{temperature} {humidity}", "21.5.1 48.3", air.State{}, ErrGarbled},
		{"{temperature} {humidity}", "1e1 48.3", air.State{}, ErrGarbled},
		{"{temperature} {humidity}", "NaN 48.3", air.State{}, ErrGarbled},
		{"{temperature} {humidity}", "", air.State{}, ErrGarbled},
		{"{humidity:6}{temperature:6}", "  48.3 21.5", air.State{}, ErrGarbled},
		{"{humidity:6}{temperature:6}", "  4 .3  21.5", air.State{}, ErrGarbled},
	} {
		p, err := ParsePattern(c.pattern)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := p.decode([]byte(c.line)); got != c.want || !errors.Is(err, c.err) {
			t.Errorf("%q by %q: %+v, %v; want %+v, %v", c.line, c.pattern, got, err, c.want, c.err)
		}
	}
}

func TestPatternsThatAreNone(t *testing.T) {
	for pattern, saying := range map[string]string{
		"":                                          "0 times",
		"{temperature}":                             "0 times {humidity}",
		"{temperature} {temperature} {humidity}":    "2 times {temperature}",
		"{temperature}{humidity}":                   "side by side",
		"{word}{humidity} {temperature}":            "side by side",
		"{weight} {humidity}":                       "want temperature, humidity or word",
		"{temperature:0} {humidity}":                "width",
		"{temperature:25} {humidity}":               "width",
		"{temperature {humidity}":                   "want temperature",
		"{temperature} humidity}":                   "was not opened",
		"{temperature} {humidity":                   "not closed",
		"{temperature} {humidity} °C":               "ASCII",
		strings.Repeat("x", maxPatternBytes) + "{}": "longer",
	} {
		if _, err := ParsePattern(pattern); err == nil || !strings.Contains(err.Error(), saying) {
			t.Errorf("%q: %v, want %q", pattern, err, saying)
		}
	}
}

// The first line may have lost its first digit, and noise costs its own line only.
func TestLinesAmongNoise(t *testing.T) {
	l, err := NewLine(LineConfig{Link: link.Settings{Port: "/dev/made-up"}, Pattern: "{temperature} {humidity}"})
	if err != nil {
		t.Fatal(err)
	}
	var got []air.State
	bad := 0
	for _, p := range []string{"1.5 48.3\r\n", "21.5 4", "8.3\r\n", "\xff\x80 noise\r\n", strings.Repeat("7", 200), "\r\n", "22.5 50\n"} {
		l.feed([]byte(p), func(_ []byte, s air.State, err error) {
			if err != nil {
				bad++
				return
			}
			got = append(got, s)
		})
	}
	if len(got) != 2 || got[0] != (air.State{TemperatureC: 21.5, HumidityPct: 48.3}) || got[1] != (air.State{TemperatureC: 22.5, HumidityPct: 50}) || bad != 2 {
		t.Errorf("got %+v and %d bad lines", got, bad)
	}
}

func FuzzPattern(f *testing.F) {
	f.Add("{temperature},{humidity}", "21.5,48.3")
	f.Add("{word} {temperature:6}{humidity:6} %", "x   21.5  48.3 %")
	f.Fuzz(func(t *testing.T, pattern, line string) {
		p, err := ParsePattern(pattern)
		if err != nil {
			return
		}
		s, err := p.decode([]byte(line))
		if err != nil && s != (air.State{}) || s.Valid() != nil && err == nil {
			t.Errorf("%q by %q: %+v, %v", line, pattern, s, err)
		}
	})
}

func FuzzValuePattern(f *testing.F) {
	f.Add("T={value} {word}", "T=12.5 mNm")
	f.Add("{word} {value:6}%", "x   48.3%")
	f.Fuzz(func(t *testing.T, pattern, line string) {
		p, err := ParseValuePattern(pattern)
		if err != nil {
			return
		}
		if x, err := p.Decode([]byte(line)); err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
			t.Errorf("%q by %q: %v", line, pattern, x)
		}
	})
}

func TestValuePatternsThatAreNone(t *testing.T) {
	for pattern, saying := range map[string]string{
		"": "0 times {value}", "{value} {value}": "2 times {value}", "{temperature}": "want value or word", "{value": "not closed",
	} {
		if _, err := ParseValuePattern(pattern); err == nil || !strings.Contains(err.Error(), saying) {
			t.Errorf("%q: %v, want %q", pattern, err, saying)
		}
	}
}
