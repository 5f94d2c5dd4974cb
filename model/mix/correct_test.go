
// TestThinnerWithinADivision: what the scale cannot show is no fault, and nobody is
// asked to pour it.
func TestThinnerWithinADivision(t *testing.T) {
	l := Limits{Ratio: 4, TolerancePct: 5, ThinnerPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20, DivisionG: 0.1}
	for thinner, want := range map[float64]bool{7.4: true, 7.3: false, 7.5: true, 15.1: true, 15.2: false} {
		a := Amounts{InkG: 60, HardenerG: 15, ThinnerG: thinner}
		if got := l.ThinnerInRange(a); got != want {
			t.Errorf("%v g of thinner on 75 g, 10 to 20 %% wanted: in range %v, want %v", thinner, got, want)
		}
	}
}
