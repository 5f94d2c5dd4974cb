package bench

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/mix"
)

// decimalsOf is how many decimals a figure may have on the wire, by its name. Masses have
// those of a tenth of the finest division of the shop.
func decimalsOf(name string) int {
	const tenthOfDivision = 3
	switch name {
	case "ink", "hardener", "thinner", "g": // targets and components in g
		return tenthOfDivision
	case "division_g", "spent", "risk", "stop_at_risk", "moisture_share", "sigma", "exposure", "weighing_u", "pipettes", "ink_per_hardener",
		"life_ln_spread", "moisture_spread", "sigma_ln_spread":
		return 6
	case "expected", "low", "high": // of remaining_s
		return 1
	case "vapour_density_g_m3", "vapour_pressure_pa", "molar_mass_g", "mouth_mm", "activation_spread", "overdue_months", "thinner_uncertainty_pct_points":
		return 2
	}
	for _, unit := range []struct {
		suffix string
		places int
	}{{"_g", tenthOfDivision}, {"_s", 1}, {"_c", 2}, {"_pct", 2}, {"_kj_mol", 2}, {"_h", 4}} {
		if strings.HasSuffix(name, unit.suffix) {
			return unit.places
		}
	}
	return 0 // a count
}

// tooLong lists the numbers of a JSON text that have more decimals than they may have.
func tooLong(t testing.TB, of string, v any) []string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(strings.NewReader(string(text)))
	d.UseNumber()
	var value any
	if err := d.Decode(&value); err != nil {
		t.Fatal(err)
	}
	var found []string
	var walk func(path, name string, v any)
	walk = func(path, name string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for key, value := range v {
				walk(path+"."+key, key, value)
			}
		case []any:
			for _, value := range v {
				walk(path+"[]", name, value)
			}
		case json.Number:
			_, decimals, _ := strings.Cut(v.String(), ".")
			if len(decimals) > decimalsOf(name) || strings.ContainsAny(v.String(), "eE") {
				found = append(found, path+" is "+v.String())
			}
		}
	}
	walk(of, "", value)
	return found
}

// published checks every row of the newest snapshot and every event after seq, and returns
// the seq of the newest event.
func (s *shop) published(seq uint64) uint64 {
	s.t.Helper()
	snap := s.b.Snapshot()
	var long []string
	for of, rows := range map[string]any{
		"air": snap.Air, "scale": snap.Scales, "sensor": snap.Sensors, "batch": snap.Batches, "closed": snap.Closed,
		"press": snap.Presses, "light": snap.Lights, "alarm": snap.Alarms, "ink": snap.Inks, "can": snap.Cans,
	} {
		long = append(long, tooLong(s.t, of, rows)...)
	}
	events, err := s.journal.Events(s.ctx, seq, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, e := range events {
		long = append(long, tooLong(s.t, e.Kind, e.JSON)...)
		seq = e.Seq
	}
	if len(long) > 0 {
		s.t.Fatalf("figures with more decimals than are known:\n%s", strings.Join(long, "\n"))
	}
	return seq
}

// TestEveryFigureIsRounded makes a shop busy with figures that have all digits, and looks
// at every row and every event.
func TestEveryFigureIsRounded(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		s := openShop(t, t.TempDir(), newClock())
		defer s.crash()
		seq := uint64(0)
		look := func() { seq = s.published(seq) }
		draw := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(rt, name) }
		weather := func() rooms {
			return both(&air.State{TemperatureC: draw(18, 26, "°C"), HumidityPct: draw(35, 65, "%")})
		}
		s.pass(20*time.Second, weather())
		look()
		ink := draw(60, 64, "ink")
		id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
		cup := draw(10, 14, "cup")
		s.weighs(cup, 2*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "cup"})
		s.pours(cup, cup+ink/3, 2*time.Second)
		look() // in the middle of a pour, with its bar
		if p := s.b.Snapshot().Scales[0].Pouring; p == nil || p.PouredG == 0 {
			t.Fatalf("no bar in the middle of a pour: %+v", p)
		}
		s.pours(cup+ink/3, cup+ink, 3*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "ink"})
		on := cup + ink*1.3 // too much hardener, for the sake of the corrections
		s.pours(cup+ink, on, 3*time.Second)
		if v := s.must(request.ConfirmStep{Batch: id, Step: "hardener"}); len(v.Corrections) == 0 {
			t.Fatal("no corrections after too much hardener")
		} else if long := tooLong(t, "answer", v); len(long) > 0 {
			t.Fatal(long)
		}
		look()
		s.must(request.ConfirmStep{Batch: id, Step: "hardener", Override: "for this test"})
		s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"})
		s.pours(on, on+ink*0.14, 2*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "thinner"})
		s.weighs(on+ink*0.14, 2*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "stir-thinner"})
		s.must(request.LoadBatch{Batch: id, Press: "press-1"})
		s.pass(20*time.Second, weather())
		v := s.batch(id)
		if v.Ratio == nil || v.Thinner == nil || v.RemainingS == nil || *v.Spent == 0 {
			t.Fatalf("the batch has no ratio, no thinner or no life: %+v", v)
		}
		look()
		part := s.must(request.SplitBatch{Batch: id, Grams: ink / 7, To: request.Where{Press: "press-2"}})
		s.must(request.ThinBatch{Batch: id, Grams: ink / 90})
		s.must(request.ReweighBatch{Batch: id, ContentG: ink, TakenG: 1.0 / 3})
		hand := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-time.Minute / 7),
			Components: []mix.Component{{Part: mix.Ink, G: ink}, {Part: mix.Hardener, G: ink / 4}}})
		look()
		s.must(request.TopUpBatch{Batch: id, From: hand.ID})
		left := 10.0 / 3
		s.must(request.CloseBatch{Batch: part.ID, Outcome: "used-up", LeftG: &left})
		sheet := s.b.shop.Inks[0].Life
		life := sheet
		life.LRefH, life.MoistureShare, life.Sigma = life.LRefH*0.987654321, 1.0/3, 1.0/7
		s.tell(request.AcceptLearned{Ink: "dial-satin", Sheet: sheet, Life: life, Verdict: "less"})
		reference := draw(49, 51, "reference")
		s.tell(request.VerifySensor{Sensor: "bench-air", HumidityPct: &reference})
		s.clock.is.Wall = s.clock.is.Wall.Add(time.Second * 10 / 3) // somebody sets the clock
		s.pass(10*time.Second, weather())
		look()
		recipe, err := s.b.Recipe(request.StartMix{Ink: "dial-flat", Press: "press-1", InkG: &ink})
		if err != nil {
			t.Fatal(err)
		}
		if long := tooLong(t, "recipe", recipe); len(long) > 0 {
			t.Fatal(long)
		}
	})
}

// The state keeps all digits of what the rows round.
func TestTheStateKeepsAllDigits(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	third := 100.0 / 3
	s.pass(20*time.Second, both(&air.State{TemperatureC: 20 + 1.0/3, HumidityPct: 50 + 1.0/3}))
	id := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: []mix.Component{{Part: mix.Ink, G: 2 * third}, {Part: mix.Hardener, G: third / 2}}}).ID
	s.pass(time.Minute, both(&air.State{TemperatureC: 20 + 1.0/3, HumidityPct: 50 + 1.0/3}))
	if got := s.b.state.Batches[id].Amounts().InkG; got != 2*third {
		t.Errorf("the state holds %v g of ink, want %v", got, 2*third)
	}
	if got := s.batch(id).Components[0].G; got != 66.67 {
		t.Errorf("the row has %v g of ink, want 66.67", got)
	}
	if a := s.b.Snapshot().Air[0]; *a.TemperatureC != 20.33 || a.Measured.TemperatureC != 20+1.0/3 || math.Abs(*a.HumidityPct-50.33) > 1e-12 {
		t.Errorf("the air's row is %v °C, %v %%, measured %+v", *a.TemperatureC, *a.HumidityPct, a.Measured)
	}
	if got, row := s.spent(id), *s.batch(id).Spent; got == row || math.Abs(got-row) > 5e-7 {
		t.Errorf("spent %v, in its row %v", got, row)
	}
}
