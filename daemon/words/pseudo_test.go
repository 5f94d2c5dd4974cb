package words

import "testing"

func TestNotPseudo(t *testing.T) {
	given := []string{"dial-satin", "0612-4"}
	for text, want := range map[string]string{
		"[Çlöšé {x} lorém] (0612-4)": "", "[Mít [2 prints] dial-satin]": "", "3 h 05 min, 12 Jun 2026": "", "": "",
		"Close (0612-4)": "Close", "[Çlöšé] bad: [x]": "bad", "hardener": "hardener", "68.0 °F": "", "20.0 °C": "C", "48 % RH": "RH",
	} {
		if got := NotPseudo(text, given...); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
