package view

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/mix"
)

// Ink is an ink with what its data sheet says and what is made of it.
type Ink struct {
	ID            string   `json:"id"`
	Hardener      string   `json:"hardener,omitempty"`
	Thinners      []string `json:"thinners"`
	HardenerRatio string   `json:"hardener_ratio"`
	TolerancePct  float64  `json:"ratio_tolerance_pct"`
	ThinnerMinPct float64  `json:"thinner_min_pct"`
	ThinnerMaxPct float64  `json:"thinner_max_pct"`
	ThinnerDark   float64  `json:"thinner_dark_pct"`
	ThinnerLight  float64  `json:"thinner_light_pct"`
	RestS         float64  `json:"rest_s"`
	LifeRefH      float64  `json:"life_ref_h"` // at 20 °C and 50 %
	MoistureShare float64  `json:"moisture_share"`
	Assumed       string   `json:"assumed"` // what of it is an assumption
	// Learned is what a person accepted of what was learned; absent while new batches go
	// by the data sheet.
	Learned *Learned `json:"learned,omitempty"`

	// What a plan is made of: the life that new batches go by, and the recipe.
	Life  cure.Ink      `json:"-"`
	Ratio mix.Ratio     `json:"-"`
	Rest  time.Duration `json:"-"`
}

// Learned is what new batches of an ink go by in place of its data sheet.
type Learned struct {
	Since         time.Time `json:"since"`
	By            string    `json:"by"`
	Verdict       string    `json:"verdict"`
	LifeRefH      float64   `json:"life_ref_h"`
	MoistureShare float64   `json:"moisture_share"`
	Activation    float64   `json:"activation_kj_mol"`
	Sigma         float64   `json:"sigma"`
}
