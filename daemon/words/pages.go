package words

import (
	"encoding/json"
	"slices"
	"strings"
)

// daemonOnly are the sections of the catalogue, the first parts of its keys, that no module of a
// page uses. They are not sent to the pages: the daemon words these texts itself.
var daemonOnly = []string{"alarm", "alarm-text", "assumes", "band", "band-advice", "band-part", "can-note", "check-record", "discovery", "fault", "figure", "help", "label", "learned", "page", "problem", "reason", "reason-mix", "refusal", "refusal-kind", "report", "step-refusal", "study", "warning", "why"}

// ForPages returns a JavaScript module whose default export holds the texts that the pages use,
// and how the shop writes times and temperatures:
//
//	{language: "en", timeZone: "Europe/Berlin", fahrenheit: false, texts: {…}}
//
// The time zone is empty when its name is not known. The error is that of encoding.
func (l Locale) ForPages() ([]byte, error) {
	texts := map[string]Text{}
	for key, t := range l.language().texts {
		if forPages(key) {
			texts[key] = t
		}
	}
	b, err := json.Marshal(struct {
		Language   string          `json:"language"`
		TimeZone   string          `json:"timeZone"`
		Fahrenheit bool            `json:"fahrenheit"`
		Texts      map[string]Text `json:"texts"`
	}{l.Code(), l.ZoneName(), l.Fahrenheit, texts})
	if err != nil {
		return nil, err
	}
	return append(append([]byte("export default "), b...), ";\n"...), nil
}

func forPages(key string) bool {
	section, _, _ := strings.Cut(key, ".")
	return !slices.Contains(daemonOnly, section)
}
