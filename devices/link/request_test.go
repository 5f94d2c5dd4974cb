package link

import (
	"errors"
	"testing"
)

func TestParseRequest(t *testing.T) {
	for text, want := range map[string]string{
		`P\r\n`: "P\r\n", "P\r\n": "P\r\n", `\x05`: "\x05", `\x1bP\t\\`: "\x1bP\t\\", "": "",
	} {
		if got, err := ParseRequest(text); got != want || err != nil {
			t.Errorf("%q: %q, %v; want %q", text, got, err, want)
		}
	}
	for _, text := range []string{`P\`, `\x5`, `\xgg`, `\q`} {
		if got, err := ParseRequest(text); !errors.Is(err, ErrSettings) {
			t.Errorf("%q: %q, %v; want ErrSettings", text, got, err)
		}
	}
}

// What is written for a request is read as it.
func FuzzParseRequest(f *testing.F) {
	f.Add("P\r\n")
	f.Add(`\x05\`)
	f.Fuzz(func(t *testing.T, text string) {
		ParseRequest(text)
		if len(text) > maxRequest {
			return
		}
		if got, err := ParseRequest(FormatRequest(text)); err != nil || got != text {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	})
}
