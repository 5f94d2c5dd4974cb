package view

import "time"

// Recipe describes a mix that has not begun.
type Recipe struct {
	Ink      string  `json:"ink" doc:"id of the ink"`
	Scale    string  `json:"scale" doc:"id of the scale"`
	Cup      string  `json:"cup" doc:"id of the kind of cup"`
	Press    string  `json:"press,omitempty" doc:"id of the press"`
	TargetsG Targets `json:"targets_g" doc:"target masses in g"`
	TotalG   float64 `json:"total_g" doc:"mass of the whole mix in g"`

	InkMinimumG     float64  `json:"ink_minimum_g" doc:"least mass of ink worth mixing in this cup, in g"`
	ThinnerPct      float64  `json:"thinner_pct" doc:"thinner in % of ink and hardener together"`
	ThinnerStartPct float64  `json:"thinner_start_pct" doc:"usual start for this colour class and artwork, in % of ink and hardener together"`
	ThinnerMinPct   float64  `json:"thinner_min_pct" doc:"least thinner in % of ink and hardener together"`
	ThinnerMaxPct   float64  `json:"thinner_max_pct" doc:"most thinner in % of ink and hardener together"`
	Why             []string `json:"why" doc:"how the figures were found, in sentences"`

	DivisionG        float64 `json:"division_g" doc:"smallest step of the scale's display in g"`
	Grade            string  `json:"grade" enum:"fine,usable,coarse" doc:"how well the scale suits the recipe; it informs and never blocks"`
	TolerancePct     float64 `json:"ratio_tolerance_pct" doc:"permitted deviation of the ratio in %"`
	RatioPct         float64 `json:"ratio_uncertainty_pct" doc:"expanded uncertainty of the ratio in % (k = 2), each part tared"`
	ThinnerPctPoints float64 `json:"thinner_uncertainty_pct_points" doc:"expanded uncertainty of the thinner share in percentage points (k = 2)"`
	SmallestInkG     float64 `json:"smallest_ink_g" doc:"least mass of ink in g for which the scale is usable at this ratio"`

	Life        *NewLife    `json:"life,omitempty" doc:"how long the mix would live if hardener met its ink now; absent when the air is not known"`
	LifeUnknown string      `json:"life_unknown,omitempty" doc:"why that is not known; absent when it is"`
	SmallerCup  *SmallerCup `json:"smaller_cup,omitempty" doc:"the same in the next smaller kind of cup; absent when the shop has none"`
}

// NewLife is the pot life that a mix would have if it began now.
type NewLife struct {
	Zone    string        `json:"zone" doc:"id of the zone whose air is assumed: that of the press, else that of the scale"`
	From    time.Time     `json:"from" doc:"when the mix would begin: now"`
	EndsAt  Ends          `json:"ends_at" doc:"when its pot life would end"`
	LastsS  Span[float64] `json:"lasts_s" doc:"how long its pot life would last, in s"`
	Quality Quality       `json:"quality" doc:"how far the air of the zone can be relied on: good or uncertain"`
	Why     string        `json:"why,omitempty" doc:"why the quality is not good"`
}

// SmallerCup is what a mix would come to in another kind of cup.
type SmallerCup struct {
	Cup    string   `json:"cup" doc:"id of the kind of cup"`
	InkG   float64  `json:"ink_g" doc:"least mass of ink for it, in g"`
	TotalG float64  `json:"total_g" doc:"mass of the whole mix in g"`
	Life   *NewLife `json:"life,omitempty" doc:"how long the mix would live; absent when the air is not known"`
}
