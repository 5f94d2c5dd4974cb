package quality

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestAStudyOfAnyFewCells: on the first day of a shop there are a few cells of any kind. The study
// then has an estimate with finite figures, or a reason why there is none.
func TestAStudyOfAnyFewCells(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Data{Kinds: []string{"pinholes", "dust"}}
		condition := rapid.OneOf(rapid.Float64Range(0, 30), rapid.SampledFrom([]float64{10, 20, math.NaN()}))
		for range rapid.IntRange(0, 9).Draw(t, "cells") {
			c := Cell{Place: rapid.SampledFrom([]string{"p", "q"}).Draw(t, "place"), Batch: rapid.SampledFrom([]string{"", "a", "b", "c"}).Draw(t, "batch"), Day: "1"}
			for f := range c.Conditions {
				c.Conditions[f] = condition.Draw(t, "condition")
			}
			c.Prints.Prints = float64(rapid.IntRange(0, 200).Draw(t, "prints"))
			for range d.Kinds {
				c.Defects = append(c.Defects, float64(rapid.IntRange(0, 30).Draw(t, "defects")))
			}
			d.Cells = append(d.Cells, c)
		}
		s, err := Analyse(t.Context(), d, usual)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range s.Effects {
			if e.Reason != "" {
				continue
			}
			for name, figure := range map[string]float64{"ratio": e.Ratio, "low": e.Interval.Low, "P": e.P, "dispersion": e.Dispersion, "design effect": e.DesignEffect} {
				if math.IsNaN(figure) {
					t.Errorf("%s of %s: %s is no number: %+v", e.Factor, e.Kind, name, e)
				}
			}
		}
	})
}
