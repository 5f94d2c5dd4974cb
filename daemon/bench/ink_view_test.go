package bench

import (
	"slices"
	"testing"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
)

// TestInkRowHasItsSafetySheets: those of its hardener and of its thinners too, and of no other.
func TestInkRowHasItsSafetySheets(t *testing.T) {
	shop := config.Shop{
		Inks:      []config.Ink{{ID: "dial-satin", Hardener: "hardener-a", Thinners: []string{"thinner-s", "thinner-t"}, SafetySheet: "https://maker.example/satin"}},
		Hardeners: []config.Hardener{{ID: "hardener-b", SafetySheet: "/b"}, {ID: "hardener-a", SafetySheet: "/a"}},
		Thinners:  []config.Thinner{{ID: "thinner-s"}, {ID: "thinner-t", SafetySheet: "/t"}, {ID: "thinner-u", SafetySheet: "/u"}},
	}
	want := []view.SafetySheet{{Part: "ink", ID: "dial-satin", Link: "https://maker.example/satin"}, {Part: "hardener", ID: "hardener-a", Link: "/a"}, {Part: "thinner", ID: "thinner-t", Link: "/t"}}
	c := newCatalogue(shop)
	if got := c.inkViews(record.State{})[0].SafetySheets; !slices.Equal(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}
