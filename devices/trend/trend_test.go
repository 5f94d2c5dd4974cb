package trend

import (
	"slices"
	"strings"
	"testing"

	"potlifed/devices/link"
)

// The first line may have lost its first digit, and noise costs its own line only.
func TestLinesAmongNoise(t *testing.T) {
	l, err := NewLine(LineConfig{Link: link.Settings{Port: "/dev/made-up"}, Pattern: "T= {value} {word}", Factor: 2, Offset: -1})
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	bad := 0
	for _, p := range []string{"1.5 mNm\r\n", "T=  21.5 m", "Nm\r\n", "\xff\x80 noise\r\n", strings.Repeat("7", 200), "\r\n", "T=22,5 mNm\n", "T= mNm\n"} {
		l.feed([]byte(p), func(x float64, err error) {
			if err != nil {
				bad++
				return
			}
			got = append(got, x)
		})
	}
	if !slices.Equal(got, []float64{42, 44}) || bad != 3 {
		t.Errorf("got %v and %d bad lines", got, bad)
	}
}

// What is wrong with the settings is said before a port is opened.
func TestSettingsThatCannotBeUsed(t *testing.T) {
	if _, err := NewLine(LineConfig{Link: link.Settings{Port: "/dev/made-up"}, Pattern: "{temperature}"}); err == nil || !strings.Contains(err.Error(), "want value or word") {
		t.Errorf("a pattern without a value: %v", err)
	}
}
