package words

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// ofOneUnit are the texts that say a unit of temperature: each has a sister for the other unit.
var ofOneUnit = regexp.MustCompile(`^unit\.(celsius|fahrenheit)$|\.temperature-[cf]$`)

// TestTemperaturesAreInTheUnitOfTheShop: no text has a unit of temperature in it, and no page but by
// lib/format.js.
func TestTemperaturesAreInTheUnitOfTheShop(t *testing.T) {
	unit := regexp.MustCompile(`°[CF]|\d[ \x{a0}]K\b`)
	for key, text := range English().texts {
		if found := unit.FindString(text.Other); found != "" && !ofOneUnit.MatchString(key) {
			t.Errorf("%s has %q in it: %s", key, found, text.Other)
		}
	}
	for key := range English().texts {
		if stem, c := strings.CutSuffix(key, "-c"); c && unit.MatchString(English().texts[key].Other) && English().texts[stem+"-f"].Other == "" {
			t.Errorf("%s has no sister for °F", key)
		}
	}
	onPages(t, func(path, body string) {
		if strings.HasSuffix(path, "lib/format.js") {
			return
		}
		for _, line := range strings.Split(body, "\n") {
			line, _, _ = strings.Cut(line, "//")
			if strings.HasPrefix(strings.TrimSpace(line), "*") || strings.HasPrefix(line, "/**") || filepath.Ext(path) == ".tmpl" {
				continue // a comment; the reference is for engineers
			}
			if found := unit.FindString(line); found != "" {
				t.Errorf("%s has %q in it: %s", path, found, line)
			}
		}
	})
}
