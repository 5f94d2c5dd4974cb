package view

// Recipe is what a mix would come to that is not begun yet.
type Recipe struct {
	Ink      string  `json:"ink"`
	Scale    string  `json:"scale"`
	Cup      string  `json:"cup"`
	Press    string  `json:"press,omitempty"`
	TargetsG Targets `json:"targets_g"`
	TotalG   float64 `json:"total_g"`

	InkMinimumG     float64 `json:"ink_minimum_g"` // of the cup
	ThinnerPct      float64 `json:"thinner_pct"`   // of ink and hardener together
	ThinnerStartPct float64 `json:"thinner_start_pct"`
	ThinnerMinPct   float64 `json:"thinner_min_pct"`
	ThinnerMaxPct   float64 `json:"thinner_max_pct"`
	// Why the figures are so, in sentences.
	Why []string `json:"why"`

	DivisionG    float64 `json:"division_g"`
	Grade        string  `json:"grade" enum:"fine,usable,coarse" doc:"how well the scale suits the recipe; it informs and never blocks"`
	TolerancePct float64 `json:"ratio_tolerance_pct"`
	// RatioPct and ThinnerPctPoints are expanded uncertainties, k = 2, each part tared.
	RatioPct         float64 `json:"ratio_uncertainty_pct"`
	ThinnerPctPoints float64 `json:"thinner_uncertainty_pct_points"`
	SmallestInkG     float64 `json:"smallest_ink_g" doc:"the least ink with which the scale is usable at this ratio"`
}
