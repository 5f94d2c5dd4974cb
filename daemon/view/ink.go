package view

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/cure"
	"potlifed/model/mix"
)

// Ink is the row of an ink: its data sheet, and what is calculated from it.
type Ink struct {
	ID            string        `json:"id" doc:"id of the ink"`
	Hardener      string        `json:"hardener,omitempty" doc:"id of its hardener; absent when the configuration names none"`
	Thinners      []string      `json:"thinners" doc:"ids of the thinners that may be added"`
	HardenerRatio string        `json:"hardener_ratio" doc:"mass of ink to mass of hardener, such as 5:1"`
	TolerancePct  float64       `json:"ratio_tolerance_pct" doc:"permitted deviation of the ratio in %"`
	ThinnerMinPct float64       `json:"thinner_min_pct" doc:"least thinner in % of ink and hardener together"`
	ThinnerMaxPct float64       `json:"thinner_max_pct" doc:"most thinner in % of ink and hardener together"`
	ThinnerDark   float64       `json:"thinner_dark_pct" doc:"usual start for dark colours in % of ink and hardener together"`
	ThinnerLight  float64       `json:"thinner_light_pct" doc:"usual start for light colours in % of ink and hardener together"`
	RestS         float64       `json:"rest_s" doc:"rest before printing in s, 0 for none"`
	StirS         float64       `json:"stir_s" doc:"time in s for which a cup must be off the scale to count as stirred; 0 if that must be confirmed"`
	LifeRefH      float64       `json:"life_ref_h" doc:"pot life in h at 20 °C and 50 % relative humidity"`
	MoistureShare float64       `json:"moisture_share" doc:"share of the pot life that moisture determines, 0 to 1"`
	Assumed       string        `json:"assumed" doc:"which of these figures are assumptions"`
	Learned       *Learned      `json:"learned,omitempty" doc:"what was learned from past batches and accepted by a person; absent while new batches use the data sheet"`
	JarTest       *JarTest      `json:"jar_test,omitempty" doc:"the test in jars that is running; absent for none"`
	SafetySheets  []SafetySheet `json:"safety_data_sheets,omitempty" doc:"the safety data sheets of the ink, its hardener and its thinners, as far as the configuration names them"`

	// For plans: the life that is used for new batches, and the recipe.
	Life  cure.Ink      `json:"-"`
	Ratio mix.Ratio     `json:"-"`
	Rest  time.Duration `json:"-"`
}

// SafetySheet is where the safety data sheet of a material is found.
type SafetySheet struct {
	Part string `json:"part" enum:"ink,hardener,thinner" doc:"ink, hardener or thinner"`
	ID   string `json:"id" doc:"id of the material"`
	Link string `json:"link" doc:"address of its safety data sheet; a path is one on the address of the pages"`
}

// Learned is what is used for new batches of an ink instead of its data sheet.
type Learned struct {
	Since         time.Time  `json:"since" doc:"when it was accepted"`
	By            actor.Name `json:"by" doc:"who accepted it"`
	Verdict       string     `json:"verdict" doc:"what the batches showed, in sentences"`
	LifeRefH      float64    `json:"life_ref_h" doc:"pot life in h at 20 °C and 50 % relative humidity"`
	MoistureShare float64    `json:"moisture_share" doc:"share of the pot life that moisture determines, 0 to 1"`
	Activation    float64    `json:"activation_kj_mol" doc:"activation energy in kJ/mol, by which heat speeds the reaction up"`
	Sigma         float64    `json:"sigma" doc:"spread of the pot life from batch to batch, as the standard deviation of its logarithm"`
}
