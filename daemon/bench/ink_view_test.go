package bench

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/cure"
	"potlifed/model/mix"
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
	if got := assumed(22, 31, 29); !strings.Contains(got, "20\u00a0°C and the shop is at about 31\u00a0°C") {
		t.Errorf("%q", got)
	}
}

// A batch of a fast ink knows its mass, by which it warms itself; its ink's row says so. One of a slow ink does not.
func TestAFastBatchKnowsItsMass(t *testing.T) {
	fast := strings.Replace(testShop, "pot_life: {shortest: 6h, longest: 8h}", "pot_life: {shortest: 100m, longest: 140m}", 1)
	s := openShopOf(t, t.TempDir(), newClock(), fast)
	s.pass(20*time.Second, both(mild))
	started := s.must(request.StartMix{Ink: "dial-satin"}).ID
	parts := []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}
	recorded := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: parts}).ID
	parts[1].G = 6
	slow := s.must(request.RecordMix{Ink: "dial-flat", MixedAt: s.b.clock.now(), Components: parts}).ID
	for id, want := range map[string][2]float64{started: {75, 100}, recorded: {75, 75}, slow: {0, 0}} {
		if g := s.b.state.Batches[id].Basis.Life.BatchG; !(g >= want[0] && g <= want[1]) {
			t.Errorf("batch %s: %v g, want %v", id, g, want)
		}
	}
	if got := s.b.shop.inkViews(s.b.state)[0].Assumed; !strings.Contains(got, "gel point") {
		t.Errorf("%q", got)
	}
}
