package view

import (
	"time"

	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// Span is an expected value with its band.
type Span[T any] struct {
	Expected T `json:"expected"`
	Low      T `json:"low"`
	High     T `json:"high"`
}

// Ends is when a batch ends.
type Ends = Span[time.Time]

// BatchState is a batch as MQTT publishes it. Fields that depend on the first hardener are
// null before it.
type BatchState struct {
	Time       time.Time        `json:"time"`
	Seq        uint64           `json:"seq"`
	ID         string           `json:"id"`
	Ink        string           `json:"ink"`
	Press      *string          `json:"press"`
	Zone       string           `json:"zone"`
	State      lifecycle.Phase  `json:"state"`
	MixedAt    *time.Time       `json:"mixed_at"`
	GoodAt     *time.Time       `json:"good_at"`
	AgeS       *float64         `json:"age_s"`
	Spent      *float64         `json:"spent"`
	RemainingS *Span[float64]   `json:"remaining_s"`
	EndsAt     *Span[time.Time] `json:"ends_at"`
	Risk       *float64         `json:"risk"`
	Components []mix.Component  `json:"components"`
	Quality    Quality          `json:"quality"`
	Why        string           `json:"why,omitempty"`
}

// Batch is a batch as HTTP answers it.
type Batch struct {
	BatchState
	Step        *guide.Step      `json:"step"`
	TargetsG    Targets          `json:"targets_g"`
	Corrections []mix.Correction `json:"corrections"`
	Warnings    []string         `json:"warnings"`
	Scale       string           `json:"scale,omitempty"`
	// Aside: the cup stands elsewhere while another mix may be weighed; CupWeighsG is what
	// it should weigh when it comes back, absent when that is not known.
	Aside      bool       `json:"aside,omitempty"`
	CupWeighsG *float64   `json:"cup_weighs_g,omitempty"`
	For        string     `json:"for_press,omitempty"`
	Cup        string     `json:"cup"`
	Colour     string     `json:"colour_class,omitempty"`
	Artwork    string     `json:"artwork,omitempty"`
	RestUntil  *time.Time `json:"rest_until,omitempty"`
	// Ratio is absent until ink and hardener are in.
	Ratio         *Ratio `json:"ratio,omitempty"`
	ThinnerReason string `json:"thinner_reason,omitempty"`
	// Thinner is what has gone from the cup and what may be put back.
	Thinner *Thinner `json:"thinner,omitempty"`
	// NextMixAt is when the next mix must begin to be ready before low.
	NextMixAt *time.Time `json:"next_mix_at,omitempty"`
	ClosedAt  *time.Time `json:"closed_at,omitempty"`
	Outcome   string     `json:"outcome,omitempty"`
	StillGood string     `json:"still_good,omitempty"`
	LeftG     *float64   `json:"left_g,omitempty"`
	OnDisk    *bool      `json:"on_disk,omitempty"` // false while a change to it is not
	// Lots are the cans that are in it.
	Lots []mix.Lot `json:"lots"`
	// PourFrom are the registered cans that the pour which is waited for may come from.
	PourFrom []CanChoice `json:"pour_from,omitempty"`
	// CupEmptyG is what its cup weighs empty, absent where that is not known.
	CupEmptyG *float64 `json:"cup_empty_g,omitempty"`
}

// Thinner is advice for thinner in use.
type Thinner struct {
	evaporate.TopUp
	Note string `json:"note"`
}

// Targets are a mix's target masses; they follow what was really poured.
type Targets struct {
	Ink      float64 `json:"ink"`
	Hardener float64 `json:"hardener"`
	Thinner  float64 `json:"thinner"`
}

// Ratio is how well the ratio of a mix is known.
type Ratio struct {
	InkPerHardener float64 `json:"ink_per_hardener"`
	OffPct         float64 `json:"off_pct"`         // of hardener, above zero for too much
	UncertaintyPct float64 `json:"uncertainty_pct"` // expanded, k = 2
}
