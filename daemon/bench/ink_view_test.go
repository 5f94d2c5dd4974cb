package bench

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/cure"
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

// An ink's row asks for the data sheet's figure at a nearer temperature where the day's mean of a zone
// is far from that of the sheet, and only there.
func TestInkRowComparesTheSheetWithTheShop(t *testing.T) {
	life, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	c := newCatalogue(config.Shop{Inks: []config.Ink{{ID: "ink", Life: life}}})
	assumed := func(celsius ...float64) string {
		zones := map[string]*airpath.Closed{}
		for i, t := range celsius {
			day, at := 24*time.Hour, time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
			zones[fmt.Sprint(i)] = &airpath.Closed{Hours: air.History{}.With(at, day, air.State{TemperatureC: t - 3, HumidityPct: 60}, air.State{TemperatureC: t + 3, HumidityPct: 60})}
		}
		return c.inkViews(record.State{Zones: zones})[0].Assumed
	}
	if usual := assumed(); usual == "" || assumed(22, 25) != usual {
		t.Errorf("nothing is asked of a usual shop: %q and %q", usual, assumed(22, 25))
	}
	if got := assumed(22, 31, 29); !strings.Contains(got, "20 °C and the shop is at about 31 °C") {
		t.Errorf("%q", got)
	}
}
