package view

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/mix"
	"potlifed/model/verify"
)

// Air is the air of a zone. The values are those of the last good reading and absent when there
// never was one. Time is the time of that reading.
type Air struct {
	Time          time.Time     `json:"time,omitzero" doc:"when the newest good reading was taken; absent before the first"`
	Zone          string        `json:"zone" doc:"id of the zone"`
	Sensor        string        `json:"sensor,omitempty" doc:"id of the sensor that the values come from; absent when they are the mean of several"`
	Sensors       []string      `json:"sensors,omitempty" doc:"ids of the sensors that the values come from; of several it is the mean of temperature and vapour pressure, weighted by 1/accuracy²"`
	LeftOut       []LeftOut     `json:"left_out,omitempty" doc:"sensors of the zone that the values do not come from, and why; absent when there is none"`
	TemperatureC  *float64      `json:"temperature_c,omitempty" doc:"air temperature in °C; absent when it was never measured"`
	HumidityPct   *float64      `json:"humidity_pct,omitempty" doc:"relative humidity over liquid water in %"`
	DewPointC     *float64      `json:"dew_point_c,omitempty" doc:"dew point in °C; absent when the air is too dry to have one"`
	VapourDensity *float64      `json:"vapour_density_g_m3,omitempty" doc:"water vapour in g per m³ of air"`
	Quality       Quality       `json:"quality" doc:"how far the values can be relied on: good, uncertain (suspect, or a check is overdue or failed) or bad (too old, or none)"`
	Why           string        `json:"why,omitempty" doc:"why the quality is not good"`
	Mono          time.Duration `json:"-"` // when the reading was taken
	Accuracy      cure.Sensor   `json:"-"`
	// Measured is the air of the last good reading with all digits, nil when there never
	// was one. What is computed from the air starts here.
	Measured *air.State `json:"-"`
}

// LeftOut is a sensor that does not speak for its zone while another one does.
type LeftOut struct {
	Sensor string `json:"sensor" doc:"id of the sensor"`
	Why    string `json:"why" enum:"differs,stale,stuck,drifts,implausible,check-failed,out-of-service,waiting" doc:"why it is left out: differs (from the others by more than the accuracies), stale (its newest reading is too old), stuck, drifts, implausible (its values cannot be true), check-failed, out-of-service or waiting (no reading yet)"`
}

// Scale is what a scale shows. WeightG is absent when it shows no weight.
type Scale struct {
	Time       time.Time   `json:"time,omitzero" doc:"when the newest line arrived; absent before the first"`
	ID         string      `json:"id" doc:"id of the scale"`
	WeightG    *float64    `json:"weight_g,omitempty" doc:"weight on the display in g; absent when the scale shows none"`
	DivisionG  float64     `json:"division_g" doc:"smallest step of the display in g"`
	Stable     bool        `json:"stable" doc:"the weight has settled"`
	Quality    Quality     `json:"quality" doc:"how far the weight can be relied on: good, uncertain or bad"`
	Why        string      `json:"why,omitempty" doc:"why the quality is not good"`
	Detail     string      `json:"detail,omitempty" doc:"the error that the driver or the system reported; absent where there is none"`
	Batch      string      `json:"batch,omitempty" doc:"id of the guided mix that is being weighed on this scale"`
	WhichCup   []string    `json:"which_cup,omitempty" doc:"ids of the mixes whose cup may be on the scale, while a person has to say which it is; answer with take-up; absent while that is not asked"`
	CupBackG   *float64    `json:"cup_back_g,omitempty" doc:"what the scale shows in g once the cup of the mix is back as it was, while it may have been lifted or tared; absent otherwise"`
	KeyRefused *KeyRefusal `json:"key_refused,omitempty" doc:"why the last press of the print key changed nothing; absent once it no longer matters"`
	Pouring    *Pouring    `json:"pouring,omitempty" doc:"the current pour against its target, for the bar on the page"`
	NotTaken   *NotTaken   `json:"not_taken,omitempty" doc:"what is on the scale and in no record yet: what a confirm would take now; absent when nothing is"`

	Up    bool              `json:"-"`
	Lines map[string]uint64 `json:"-"` // by result: ok, torn, unknown, overlong, overload
}

// KeyRefusal says why pressing the print key of a scale changed nothing.
type KeyRefusal struct {
	At     time.Time `json:"at" doc:"when the key was pressed"`
	Code   string    `json:"code,omitempty" doc:"which refusal it was, for programs"`
	Text   string    `json:"text" doc:"what was wrong and what to do, for the person at the bench"`
	Detail string    `json:"detail" doc:"the same for those who write programs"`
}

// Pouring is the pour that a mix waits for, with the live weight.
type Pouring struct {
	Part    mix.Part `json:"part" doc:"what is being poured: ink, hardener or thinner"`
	PouredG float64  `json:"poured_g" doc:"weight poured so far in this pour, in g"`
	TargetG float64  `json:"target_g" doc:"target of this pour in g"`
	LowG    float64  `json:"low_g" doc:"least weight that is right, in g; of ink it is the target less half a division of the scale"`
	HighG   float64  `json:"high_g" doc:"largest weight that is right, in g"`

	Verdict  guide.Verdict `json:"verdict" enum:"below,right,over,too-much" doc:"how the weight stands to low_g and high_g: below, right, over, or too-much, which is ink that is confirmed with an override only"`
	Accepted bool          `json:"accepted" doc:"a confirm now would be accepted and ask for no correction; of ink, a little less than low_g is accepted too"`
	Cures    []guide.Cure  `json:"cures,omitempty" doc:"ways to put a pour right that is too large, while the weight has settled and before it is confirmed; the smallest mass first"`
}

// NotTaken is what is on the scale and not taken yet. With a weight that has not settled it is
// what the scale shows at the moment.
type NotTaken struct {
	Step     guide.Step `json:"step" doc:"step at which it would be taken"`
	Part     mix.Part   `json:"part,omitempty" doc:"what a confirm without a part would record it as; absent for the cup, in a stir, and with must_name"`
	G        float64    `json:"g" doc:"mass in g; at step cup, what the cup weighs"`
	MustName bool       `json:"must_name,omitempty" doc:"it was undone: a confirm has to name its part"`
}

// Sensor is the condition of an instrument.
type Sensor struct {
	ID           string             `json:"id" doc:"id of the sensor or scale"`
	Condition    health.Condition   `json:"condition" doc:"waiting (no reading yet), up, stale (the newest reading is too old) or down (no connection)"`
	Since        time.Time          `json:"since" doc:"when it entered this condition"`
	TemperatureC *float64           `json:"temperature_c,omitempty" doc:"air temperature in °C of a sensor's own newest good reading; absent before the first, and for a scale"`
	HumidityPct  *float64           `json:"humidity_pct,omitempty" doc:"relative humidity in % of a sensor's own newest good reading, corrected if it is; absent before the first, and for a scale"`
	ReadAt       time.Time          `json:"read_at,omitzero" doc:"when a sensor's newest good reading was taken; absent before the first, and for a scale"`
	Text         string             `json:"text,omitempty" doc:"what is wrong and what to do; absent when nothing is"`
	Detail       string             `json:"detail,omitempty" doc:"the error that the driver or the system reported; absent where there is none"`
	OutOfService *time.Time         `json:"out_of_service_until,omitempty" doc:"end of the device's maintenance; absent when it is in service"`
	Checked      *time.Time         `json:"checked_at,omitempty" doc:"when it passed a check last: a sensor against a reference, a scale with weights; absent when none is known"`
	CheckDue     *time.Time         `json:"check_due_at,omitempty" doc:"when the next check is due; absent for a device that has no check interval"`
	CheckFailed  string             `json:"check_failed,omitempty" doc:"why the last check failed; absent when it passed"`
	CheckFinding string             `json:"check_finding,omitempty" enum:"shifted,solvent" doc:"what the points of the last check say of a sensor: shifted (off by about the same everywhere) or solvent (low where humid, right where dry: vapours have changed it); absent otherwise"`
	CheckPoints  []SensorCheckPoint `json:"check_points,omitempty" doc:"the points of a sensor's last check, the driest first; absent for a scale"`
	ScaleCheck   *ScaleCheck        `json:"scale_check,omitempty" doc:"the last check of a scale with weights; absent for a sensor, and before the first"`
	// CorrectionOffered leaves again when a person accepts it, or a check passes.
	Correction        *SensorCorrection `json:"correction,omitempty" doc:"what a sensor's humidity is corrected by; absent when it is not corrected"`
	CorrectionOffered *SensorCorrection `json:"correction_offered,omitempty" doc:"correction that the last check leads to, for a person to accept; absent when there is none"`
	Health            *Health           `json:"health,omitempty" doc:"how it is, beside whether it answers; absent before its first reading"`
	Replaced          *time.Time        `json:"replaced_at,omitempty" doc:"when another instrument took its place; absent when that is not known"`
	MovedFrom         string            `json:"moved_from,omitempty" doc:"its address before the configuration gave it another one, until a person says whether it was replaced; absent otherwise"`
	Device            string            `json:"device,omitempty" doc:"the system's name of what is at its address: that of a chip's driver, or of an adapter by id; absent where there is none"`
	DeviceBefore      string            `json:"device_before,omitempty" doc:"the same of what was there before, until a person says whether it was replaced; absent otherwise"`
	Disagrees         string            `json:"disagrees,omitempty" doc:"what it and the sensor beside it read, while they differ by more than their accuracies allow; absent otherwise"`

	// Days and PanDays are the days of a sensor or of a scale that are known, the oldest first.
	Days    []health.Day    `json:"-"`
	PanDays []health.PanDay `json:"-"`

	Zone     string            `json:"-"`
	Scale    bool              `json:"-"`
	LastTook time.Duration     `json:"-"`
	Reads    map[string]uint64 `json:"-"` // by result: ok, error, rejected
	// Air is its newest good reading while it is up, nil otherwise.
	Air *air.State `json:"-"`
}

// SensorCheckPoint is one point of a check of a sensor.
type SensorCheckPoint struct {
	At             time.Time  `json:"at" doc:"when it was recorded"`
	Salt           string     `json:"salt,omitempty" doc:"id of the salt; absent for a reference meter"`
	ReadPct        float64    `json:"read_pct" doc:"what the sensor read, corrected if it is, in % relative humidity"`
	ReferencePct   float64    `json:"reference_pct" doc:"relative humidity of the reference in %"`
	OffPct         float64    `json:"off_pct" doc:"reading less reference, in % relative humidity"`
	UncertaintyPct float64    `json:"uncertainty_pct" doc:"expanded uncertainty (k = 2) of off_pct"`
	AllowedPct     float64    `json:"allowed_pct" doc:"permitted difference in % relative humidity"`
	Passed         bool       `json:"passed" doc:"the difference is within allowed_pct"`
	By             actor.Name `json:"by,omitempty" doc:"who recorded it; absent for points of older versions"`
	Note           string     `json:"note,omitempty" doc:"what the reference was, or anything worth keeping"`
	Override       string     `json:"override,omitempty" doc:"why it was recorded before the reading had come to rest"`
}

// SensorCorrection is what a sensor's readings are corrected by: offset_pct + gain · reading.
type SensorCorrection struct {
	OffsetPct      float64    `json:"offset_pct" doc:"what is added to the relative humidity once it is multiplied by gain, in %"`
	Gain           float64    `json:"gain" doc:"what the relative humidity is multiplied by"`
	ChangesPct     float64    `json:"changes_pct" doc:"by how much it changes the sensor's present reading, in % relative humidity"`
	UncertaintyPct float64    `json:"uncertainty_pct" doc:"expanded uncertainty (k = 2) of changes_pct"`
	At             *time.Time `json:"at,omitempty" doc:"when it was accepted; absent while it is offered"`
	By             actor.Name `json:"by,omitempty" doc:"who accepted it; absent while it is offered"`
}

// ScaleCheck is a check of a scale with weights.
type ScaleCheck struct {
	At          time.Time          `json:"at" doc:"when it was recorded"`
	By          actor.Name         `json:"by" doc:"who recorded it"`
	Class       verify.ScaleClass  `json:"class" doc:"accuracy class of the scale by OIML R 76"`
	WeightClass verify.WeightClass `json:"weight_class,omitempty" doc:"class of the weights by OIML R 111; absent for checks of older versions"`
	Note        string             `json:"note,omitempty" doc:"the weights' certificate, or anything worth keeping"`
	verify.ScaleResult
}

// Health is how an instrument is, beside whether it answers.
type Health struct {
	ErrorShare  *float64 `json:"error_share,omitempty" doc:"share of a sensor's readings of the last week that failed, 0 to 1; absent while no week is known"`
	Fails       bool     `json:"fails" doc:"more of a sensor's readings fail than of one that is in order: more than 5 % in the last week, and more than 2.5 % on its last day"`
	JumpsPerDay *float64 `json:"jumps_per_day,omitempty" doc:"how often a sensor's readings of the last week changed by more than 5 % RH or 2 K within a minute, in a day; absent while no week is known"`
	Jumps       bool     `json:"jumps" doc:"a sensor jumps more often than one that is in order: more than 10 times a day in the last week, and more than 5 times on its last day"`
	SameS       *float64 `json:"same_s,omitempty" doc:"how long a sensor's readings have been the same to the last digit, in s"`
	StuckAfterS *float64 `json:"stuck_after_s,omitempty" doc:"after how long that counts as stuck, in s"`
	Stuck       bool     `json:"stuck" doc:"a sensor's readings stand still"`
	DriftPct    *float64 `json:"drift_pct,omitempty" doc:"by how much a sensor's difference to its neighbour has changed, in % relative humidity; absent while that is not known"`
	Drifts      bool     `json:"drifts" doc:"a sensor drifts, or a scale's zero has moved"`
	SettleS     *float64 `json:"settle_s,omitempty" doc:"median time that a scale takes to settle, in s; absent while it is not known"`
	Noisy       bool     `json:"noisy" doc:"a scale takes long to settle, or does not settle"`
	NoiseG      *float64 `json:"noise_g,omitempty" doc:"standard deviation of a scale's weight at rest since the start, in g; absent while too few weights are known"`
	ZeroG       *float64 `json:"zero_g,omitempty" doc:"what a scale shows when the cup is lifted, in g, in the median; absent while it is not known"`
}

// The findings, by their names on the wire.
const (
	Stuck       = "stuck"
	Drifts      = "drifts"
	Noisy       = "noisy"
	Fails       = "fails"
	Jumps       = "jumps"
	Disagrees   = "disagrees"
	CheckFailed = "check-failed"
	// OtherDevice: another device is at its address than before, and nobody has said whether it was
	// replaced.
	OtherDevice = "other-device"
)

// FindingsOf returns the findings that there may be of a sensor or, with scale, of a scale.
func FindingsOf(scale bool) []string {
	if scale {
		return []string{Drifts, Noisy, CheckFailed, OtherDevice}
	}
	return []string{Stuck, Drifts, Fails, Jumps, Disagrees, CheckFailed, OtherDevice}
}

// Findings returns, by fixed words, what is wrong with an instrument's figures although it answers:
// those of [FindingsOf]; nil when nothing is.
func (s Sensor) Findings() (found []string) {
	add := func(is bool, word string) {
		if is {
			found = append(found, word)
		}
	}
	if h := s.Health; h != nil {
		add(h.Stuck, Stuck)
		add(h.Drifts, Drifts)
		add(h.Noisy, Noisy)
		add(h.Fails, Fails)
		add(h.Jumps, Jumps)
	}
	add(s.Disagrees != "", Disagrees)
	add(s.CheckFailed != "", CheckFailed)
	add(s.DeviceBefore != "", OtherDevice)
	return found
}
