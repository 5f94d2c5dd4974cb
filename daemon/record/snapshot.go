package record

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// Quality says how far a value can be relied on.
type Quality string

// The qualities, best first.
const (
	QualityGood      Quality = "good"
	QualityUncertain Quality = "uncertain"
	QualityBad       Quality = "bad"
)

// Snapshot is what the outputs see: the state with what is derived from it and with
// the newest readings, all at one instant. It is immutable; its JSON names are those
// of the wire.
type Snapshot struct {
	At      time.Time // bench time
	Mono    time.Duration
	Seq     uint64 // of the newest event on disk that it includes
	Journal string

	Bench    string
	Instance string
	Version  string
	Started  time.Time

	ClockSynced bool
	// JournalError is why the journal cannot write, empty when it can. While it
	// cannot, NotOnDisk counts the changes that would be lost by a crash.
	JournalError string
	NotOnDisk    int

	Air     []AirView
	Scales  []ScaleView
	Sensors []SensorView // sensors and scales, as instruments
	Batches []BatchView  // open ones, by id
	Closed  []BatchView  // recently closed ones, newest first
	Presses []PressView
	Lights  []LightView
	Alarms  []AlarmView
	Inks    []InkView
	Cans    []CanView // the empty ones last

	MixingTakes time.Duration // as configured

	ClosedTotal map[ClosedKey]int
	Lives       map[string]Life // of the batches whose life has begun
}

// AirView is a zone's air. The values are those of the last good reading and absent
// when there never was one; Time is that reading's.
type AirView struct {
	Time          time.Time     `json:"time,omitzero"`
	Zone          string        `json:"zone"`
	Sensor        string        `json:"sensor,omitempty"`
	TemperatureC  *float64      `json:"temperature_c,omitempty"`
	HumidityPct   *float64      `json:"humidity_pct,omitempty"`
	DewPointC     *float64      `json:"dew_point_c,omitempty"`
	VapourDensity *float64      `json:"vapour_density_g_m3,omitempty"`
	Quality       Quality       `json:"quality"`
	Why           string        `json:"why,omitempty"`
	Mono          time.Duration `json:"-"` // when the reading was taken
	Accuracy      cure.Sensor   `json:"-"`
}

// ScaleView is what a scale shows. WeightG is absent when it shows none.
type ScaleView struct {
	Time      time.Time `json:"time,omitzero"` // of the newest line; absent before the first
	ID        string    `json:"id"`
	WeightG   *float64  `json:"weight_g,omitempty"`
	DivisionG float64   `json:"division_g"` // the finest it shows
	Stable    bool      `json:"stable"`
	Quality   Quality   `json:"quality"`
	Why       string    `json:"why,omitempty"`
	Batch     string    `json:"batch,omitempty"` // the guided mix that is being weighed on it
	// WhichCup are the mixes of which a person is to say whose cup stands on the scale,
	// by taking one up; absent while that is not asked.
	WhichCup []string `json:"which_cup,omitempty"`
	// KeyRefused is why the last press of the scale's print key changed nothing; absent
	// once that is no news.
	KeyRefused *KeyRefusal `json:"key_refused,omitempty"`
	// The bar of that mix, moving as one pours.
	Pouring *PouringView `json:"pouring,omitempty"`

	Up    bool              `json:"-"`
	Lines map[string]uint64 `json:"-"` // by result: ok, torn, unknown, overlong, overload
}

// KeyRefusal says why a press of a scale's print key changed nothing.
type KeyRefusal struct {
	At     time.Time `json:"at"`
	Code   string    `json:"code,omitempty"`
	Detail string    `json:"detail"`
}

// PouringView is the pour that a mix waits for, against the live weight.
type PouringView struct {
	Part    mix.Part `json:"part"`
	PouredG float64  `json:"poured_g"` // in this pour
	TargetG float64  `json:"target_g"`
	LowG    float64  `json:"low_g"` // from low to high is accepted
	HighG   float64  `json:"high_g"`
}

// SensorView is an instrument's condition.
type SensorView struct {
	ID        string    `json:"id"`
	Condition string    `json:"condition"` // up, stale, down; waiting before its first reading
	Since     time.Time `json:"since"`
	Detail    string    `json:"detail,omitempty"`
	// OutOfService is until when the device is under maintenance.
	OutOfService *time.Time `json:"out_of_service_until,omitempty"`
	// Checked is when a sensor's humidity was checked last, CheckDue when the next check
	// is due; nil for a sensor that is never due.
	Checked  *time.Time `json:"checked_at,omitempty"`
	CheckDue *time.Time `json:"check_due_at,omitempty"`

	Zone     string            `json:"-"`
	Scale    bool              `json:"-"`
	LastRead time.Time         `json:"-"`
	LastTook time.Duration     `json:"-"`
	Reads    map[string]uint64 `json:"-"` // by result: ok, error, rejected
}

// Span is an expected value with its band.
type Span[T any] struct {
	Expected T `json:"expected"`
	Low      T `json:"low"`
	High     T `json:"high"`
}

// Ends is when a batch ends.
type Ends = Span[time.Time]

// Component is a part of a mix.
type Component struct {
	Part mix.Part `json:"part"`
	Can  string   `json:"can,omitempty"`
	G    float64  `json:"g"`
}

// BatchState is a batch as MQTT publishes it. What hangs on the first hardener is
// null before it.
type BatchState struct {
	Time       time.Time        `json:"time"`
	Seq        uint64           `json:"seq"`
	ID         string           `json:"id"`
	Ink        string           `json:"ink"`
	Press      *string          `json:"press"`
	Zone       string           `json:"zone"`
	State      Phase            `json:"state"`
	MixedAt    *time.Time       `json:"mixed_at"`
	GoodAt     *time.Time       `json:"good_at"`
	AgeS       *float64         `json:"age_s"`
	Spent      *float64         `json:"spent"`
	RemainingS *Span[float64]   `json:"remaining_s"`
	EndsAt     *Span[time.Time] `json:"ends_at"`
	Risk       *float64         `json:"risk"`
	Components []Component      `json:"components"`
	Quality    Quality          `json:"quality"`
	Why        string           `json:"why,omitempty"`
}

// BatchView is a batch as HTTP answers it.
type BatchView struct {
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
	Ratio         *RatioView `json:"ratio,omitempty"`
	ThinnerReason string     `json:"thinner_reason,omitempty"`
	// Thinner is what has gone from the cup and what may be put back.
	Thinner *ThinnerView `json:"thinner,omitempty"`
	// NextMixAt is when the next mix must begin to be ready before low.
	NextMixAt *time.Time `json:"next_mix_at,omitempty"`
	ClosedAt  *time.Time `json:"closed_at,omitempty"`
	Outcome   string     `json:"outcome,omitempty"`
	StillGood string     `json:"still_good,omitempty"`
	LeftG     *float64   `json:"left_g,omitempty"`
	OnDisk    *bool      `json:"on_disk,omitempty"` // false while a change to it is not
	// Lots are the cans that are in it.
	Lots []LotView `json:"lots"`
	// PourFrom are the registered cans that the pour which is waited for may come from.
	PourFrom []CanChoice `json:"pour_from,omitempty"`
	// CupEmptyG is what its cup weighs empty, absent where that is not known.
	CupEmptyG *float64 `json:"cup_empty_g,omitempty"`
}

// ThinnerView is advice for thinner in use.
type ThinnerView struct {
	evaporate.TopUp
	Note string `json:"note"`
}

// Targets are a mix's target masses; they follow what was really poured.
type Targets struct {
	Ink      float64 `json:"ink"`
	Hardener float64 `json:"hardener"`
	Thinner  float64 `json:"thinner"`
}

// PressView is a press with what stands on it.
type PressView struct {
	ID         string         `json:"id"`
	Zone       string         `json:"zone"`
	Cup        string         `json:"cup"`
	Batch      *string        `json:"batch"`
	Light      light.Meaning  `json:"meaning"`
	Flashing   bool           `json:"flashing"`
	Reason     string         `json:"reason"`
	RemainingS *Span[float64] `json:"remaining_s"`
	Risk       *float64       `json:"risk"`
	// PrintsTotal is absent while nobody has counted.
	PrintsTotal *uint64 `json:"prints_total,omitempty"`

	// How a cup stands on it, and what goes into one.
	Place        cure.Place `json:"-"`
	InkMinimumG  float64    `json:"-"`
	FillMaximumG float64    `json:"-"`
}

// LightView is what a light is to show. Whoever sends it on sets ValidUntil anew
// each time, from the time of the snapshot, so that a light learns of a bench that
// stands still.
type LightView struct {
	Time       time.Time     `json:"time"`
	ID         string        `json:"id"`
	ValidUntil time.Time     `json:"valid_until"`
	Seq        uint64        `json:"seq"`
	Meaning    light.Meaning `json:"meaning"`
	Colour     string        `json:"colour"`
	Flashing   bool          `json:"flashing"`
	Reason     string        `json:"reason"`
	Press      string        `json:"press,omitempty"`
	Batch      string        `json:"batch,omitempty"`

	// What the lamp reports back; absent for one that does not.
	Confirmation string     `json:"confirmation,omitempty" enum:"confirmed,waiting,silent" doc:"whether the lamp confirms what it was told; absent for one that does not report back"`
	ConfirmedAt  *time.Time `json:"confirmed_at,omitempty" doc:"when it last did"`
	Says         string     `json:"says,omitempty" doc:"what it reports in place of what it was told"`
}

// LightValidFor is how long a light may go on showing what it was told.
const LightValidFor = 90 * time.Second

// AlarmView is an alarm that is not normal.
type AlarmView struct {
	Time     time.Time  `json:"time"`
	Seq      uint64     `json:"seq"`
	Name     string     `json:"name"`
	Subject  string     `json:"subject"`
	State    string     `json:"state" enum:"normal,unacknowledged,acknowledged,returned,shelved,suppressed,out-of-service"`
	Priority string     `json:"priority" enum:"high,medium,low"`
	Since    time.Time  `json:"since"`
	Text     string     `json:"text"`
	Response string     `json:"response,omitempty" doc:"what the operator is to do"`
	By       string     `json:"by,omitempty" doc:"who acknowledged it, put it aside or took the device out of service"`
	Until    *time.Time `json:"until,omitempty" doc:"when it comes off the shelf, or the device back into service"`
}

// InkView is an ink with what its data sheet says and what is made of it.
type InkView struct {
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
	Learned *LearnedView `json:"learned,omitempty"`

	// What a plan is made of: the life that new batches go by, and the recipe.
	Life  cure.Ink      `json:"-"`
	Ratio mix.Ratio     `json:"-"`
	Rest  time.Duration `json:"-"`
}

// LearnedView is what new batches of an ink go by in place of its data sheet.
type LearnedView struct {
	Since         time.Time `json:"since"`
	By            string    `json:"by"`
	Verdict       string    `json:"verdict"`
	LifeRefH      float64   `json:"life_ref_h"`
	MoistureShare float64   `json:"moisture_share"`
	Activation    float64   `json:"activation_kj_mol"`
	Sigma         float64   `json:"sigma"`
}
