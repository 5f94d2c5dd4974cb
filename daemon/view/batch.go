package view

import (
	"time"

	"potlifed/model/can"
	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// Span is an expected value with a lower and an upper limit.
type Span[T any] struct {
	Expected T `json:"expected" doc:"the median: half of such batches last longer"`
	Low      T `json:"low" doc:"what the batch is safe to: nine in ten batches last longer"`
	High     T `json:"high" doc:"one in ten batches lasts longer"`
}

// Ends is when the pot life of a batch ends.
type Ends = Span[time.Time]

// FirstVisible and FirstAdhesion are the values of [BatchState.FirstEnd].
const (
	FirstVisible  = "visible"
	FirstAdhesion = "adhesion"
)

// BatchState is a batch as MQTT publishes it. Fields that depend on the first hardener are
// null before it.
type BatchState struct {
	Time       time.Time        `json:"time" doc:"time of the values"`
	Seq        uint64           `json:"seq" doc:"number of the newest event that these values include"`
	ID         string           `json:"id" doc:"id of the batch, as written on the cup"`
	Ink        string           `json:"ink" doc:"id of the ink"`
	Press      *string          `json:"press" doc:"id of the press that the batch is loaded on; null when it is on none"`
	Zone       string           `json:"zone" doc:"id of the zone that the cup is in"`
	State      lifecycle.Phase  `json:"state" doc:"phase of the batch: mixing, resting, open or closed"`
	MixedAt    *time.Time       `json:"mixed_at" doc:"when hardener first touched ink; null before that"`
	GoodAt     *time.Time       `json:"good_at" doc:"when somebody last looked at the batch and found it good"`
	AgeS       *float64         `json:"age_s" doc:"age since mixed_at, in s"`
	Spent      *float64         `json:"spent" doc:"share of the pot life that is used up; 1 is the nominal end"`
	RemainingS *Span[float64]   `json:"remaining_s" doc:"remaining pot life in s, 0 or more; null before hardener is in"`
	EndsAt     *Span[time.Time] `json:"ends_at" doc:"when the pot life ends; null before hardener is in"`
	FirstEnd   string           `json:"first_end,omitempty" enum:"visible,adhesion" doc:"which end of the pot life is expected first: the visible one, or the one from which on prints do not adhere; absent while no adhesion test of the ink has failed with at least a quarter of the pot life spent"`
	Risk       *float64         `json:"risk" doc:"probability that the batch is past its pot life, 0 to 1"`
	StopAtRisk float64          `json:"stop_at_risk" doc:"risk at and above which the light of a press says do-not-print, and the batch must be looked at before it goes onto one; alarms.stop_at_risk of the configuration"`
	LookFirst  bool             `json:"look_first,omitempty" doc:"by its age the batch may have gone off: it is past the earliest of ends_at, its risk has reached stop_at_risk, or a part of it went off; load, move and split put it onto a press only with looked"`
	Components []mix.Component  `json:"components" doc:"what was poured, by part and can"`
	Quality    Quality          `json:"quality" doc:"how far the figures can be relied on: good, uncertain or bad"`
	Why        string           `json:"why,omitempty" doc:"why the quality is not good"`
}

// Batch is a batch as HTTP answers it.
type Batch struct {
	BatchState
	Step          *guide.Step         `json:"step" doc:"step that a guided mix waits at: cup, ink, hardener, stir-hardener, thinner, stir-thinner, rest or load, or pour-over while it is poured into another cup; null when no guided mix is in progress"`
	TargetsG      Targets             `json:"targets_g" doc:"target masses of the mix in g"`
	Corrections   []mix.Correction    `json:"corrections" doc:"ways to bring a wrong ratio back into tolerance, the smallest addition first"`
	Warnings      []string            `json:"warnings" doc:"what was wrong with the mix, in sentences"`
	NoRoom        string              `json:"no_room,omitempty" doc:"that the mix cannot be put right because its cup has no room for a correction, as in warnings; absent otherwise"`
	Scale         string              `json:"scale,omitempty" doc:"id of the scale that it is or was mixed on"`
	Aside         bool                `json:"aside,omitempty" doc:"the cup is off the scale, so that another mix can be weighed"`
	CupWeighsG    *float64            `json:"cup_weighs_g,omitempty" doc:"expected weight of the cup when it returns to the scale, in g; absent when it is not known"`
	For           string              `json:"for_press,omitempty" doc:"id of the press that the mix is meant for"`
	Cup           string              `json:"cup" doc:"id of the kind of cup"`
	Colour        string              `json:"colour_class,omitempty" doc:"colour class, from which the thinner share starts"`
	Artwork       string              `json:"artwork,omitempty" doc:"kind of artwork, from which the thinner share starts"`
	RestUntil     *time.Time          `json:"rest_until,omitempty" doc:"end of the rest that the ink needs before it is printed"`
	Ratio         *Ratio              `json:"ratio,omitempty" doc:"how well the mixing ratio is known; absent until ink and hardener are in"`
	RatioReason   string              `json:"ratio_reason,omitempty" doc:"why somebody uses the mix although ink and hardener are out of ratio; absent when they are in ratio, or nobody has accepted that"`
	ThinnerReason string              `json:"thinner_reason,omitempty" doc:"why the thinner share is not the usual start"`
	Thinner       *Thinner            `json:"thinner,omitempty" doc:"how much thinner has evaporated and how much may be added"`
	NextMixAt     *time.Time          `json:"next_mix_at,omitempty" doc:"when the next mix must begin, so that it is ready before the time to which this one is safe"`
	ClosedAt      *time.Time          `json:"closed_at,omitempty" doc:"when the batch was closed"`
	Outcome       lifecycle.Outcome   `json:"outcome,omitempty" doc:"how the batch ended: used-up, discarded, went-off or not-known"`
	StillGood     lifecycle.StillGood `json:"still_good,omitempty" doc:"whether it was still good at the end: yes, no or unknown"`
	LeftG         *float64            `json:"left_g,omitempty" doc:"mass left in the cup at the end, in g"`
	OnDisk        *bool               `json:"on_disk,omitempty" doc:"false while a change to the batch is not yet in the journal"`
	Prints        uint64              `json:"prints,omitempty" doc:"prints that were reported while it was loaded"`
	Defects       map[string]uint64   `json:"defects,omitempty" doc:"rejects that were reported while it was loaded, by kind of defect"`
	Lots          []can.Lot           `json:"lots" doc:"the cans that are in the batch"`
	PourFrom      []CanChoice         `json:"pour_from,omitempty" doc:"the registered cans that the current pour may come from"`
	CupEmptyG     *float64            `json:"cup_empty_g,omitempty" doc:"weight of the empty cup in g; absent when it is not known"`
	Pours         []Pour              `json:"pours,omitempty" doc:"the pours of a guided mix that are taken, in their order; correct names one by its seq"`
	PourOver      *PourOver           `json:"pour_over,omitempty" doc:"what is being poured into another cup; absent at other steps than pour-over"`
	OtherCups     []OtherCup          `json:"other_cups,omitempty" doc:"the kinds of cup that the mix can be poured into now; absent at other steps than those that pour or stir, and pour-over"`
	ByBench       *ByBench            `json:"confirmed_by_bench,omitempty" doc:"the step that the bench has just confirmed by itself; absent once that cannot be undone any more"`
}

// PourOver is what is being poured into another cup. The step pour-over is confirmed once with the empty new cup on the
// scale, where its weight is not known, and then with all of the mix in it.
type PourOver struct {
	Step      guide.Step `json:"step" doc:"the step that was interrupted, to which the mix returns"`
	Cup       string     `json:"cup" doc:"id of the kind of the new cup"`
	EmptyG    *float64   `json:"empty_g,omitempty" doc:"weight of the new cup in g; absent until it is known"`
	ContentG  float64    `json:"content_g" doc:"mass of the mix in g, with what is not taken yet"`
	NotTakenG float64    `json:"not_taken_g" doc:"mass in g that is in the cup and not taken yet; it is not taken by pouring it over either"`
	WholeG    *float64   `json:"whole_g,omitempty" doc:"what the new cup should weigh with all of the mix, in g; absent until its own weight is known"`
	OldG      float64    `json:"old_g" doc:"what the scale showed with the old cup, in g"`
}

// OtherCup is a kind of cup that a mix can be poured into while it is made.
type OtherCup struct {
	Cup    string   `json:"cup" doc:"id of the kind of cup"`
	TakesG *float64 `json:"takes_g,omitempty" doc:"largest mass of a finished mix in it, in g; absent for no limit"`
	EmptyG *float64 `json:"empty_g,omitempty" doc:"weight of the empty cup in g; absent when it is not known, and is weighed first"`
}

// Pour is a pour that was taken.
type Pour struct {
	Seq  uint64     `json:"seq,omitempty" doc:"number of the event that recorded it; absent for a mix that began with an older version"`
	Part mix.Part   `json:"part" doc:"what was poured: ink, hardener or thinner"`
	G    float64    `json:"g" doc:"mass in g"`
	At   time.Time  `json:"at" doc:"when the weight first rose for it, or when it was confirmed if no rise was seen"`
	Step guide.Step `json:"step" doc:"step at which it was taken"`
	Can  string     `json:"can,omitempty" doc:"id of the can that it came from"`
	// Material and Kept are those of a contaminated mix.
	Material string `json:"material,omitempty" doc:"id of the ink, hardener or thinner that it was, when the mix's ink does not go with that; absent otherwise"`
	Kept     bool   `json:"kept,omitempty" doc:"somebody has decided to use the mix with this material; until then nothing is confirmed"`
}

// ByBench is a step that no person has confirmed.
type ByBench struct {
	Seq   uint64     `json:"seq" doc:"number of the event, for undo"`
	Step  guide.Step `json:"step" doc:"the step, or the first of two: cup, hardener, stir-hardener or stir-thinner"`
	At    time.Time  `json:"at" doc:"when the bench confirmed it"`
	Until time.Time  `json:"until" doc:"until when it can be undone, unless something happens to the mix before"`
}

// Thinner is advice on thinner for a batch in use.
type Thinner struct {
	evaporate.TopUp
	Note string `json:"note" doc:"advice in a sentence"`
}

// Targets are the target masses of a mix in g. They follow what was really poured.
type Targets struct {
	Ink      float64 `json:"ink" doc:"mass of ink in g"`
	Hardener float64 `json:"hardener" doc:"mass of hardener in g"`
	Thinner  float64 `json:"thinner" doc:"mass of thinner in g"`
}

// Ratio is the ratio of a mix with its uncertainty.
type Ratio struct {
	InkPerHardener float64 `json:"ink_per_hardener" doc:"mass of ink per mass of hardener"`
	OffPct         float64 `json:"off_pct" doc:"deviation of the hardener from its target in %; above 0 is too much"`
	UncertaintyPct float64 `json:"uncertainty_pct" doc:"expanded uncertainty of the ratio in % (k = 2)"`
	TolerancePct   float64 `json:"tolerance_pct" doc:"permitted deviation of the hardener from its target in %"`
}
