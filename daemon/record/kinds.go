package record

import (
	"encoding/json"
	"fmt"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Kind is the written-out name of a sort of record, as it stands in the journal and
// in published events.
type Kind string

// The kinds of record. All but AirStep are events.
const (
	KindStarted           Kind = "started"
	KindStopped           Kind = "stopped"
	KindClockChanged      Kind = "clock-changed"
	KindMixStarted        Kind = "mix-started"
	KindPanChanged        Kind = "pan-changed"
	KindHardenerBegun     Kind = "hardener-begun"
	KindConfirmed         Kind = "confirmed"
	KindCorrected         Kind = "corrected"
	KindRested            Kind = "rested"
	KindRecorded          Kind = "recorded"
	KindLoaded            Kind = "loaded"
	KindUnloaded          Kind = "unloaded"
	KindGood              Kind = "good"
	KindAbandoned         Kind = "abandoned"
	KindClosed            Kind = "closed"
	KindAlarmRaised       Kind = "alarm-raised"
	KindAlarmReturned     Kind = "alarm-returned"
	KindAlarmCleared      Kind = "alarm-cleared"
	KindAlarmAcknowledged Kind = "alarm-acknowledged"
	KindAlarmShelved      Kind = "alarm-shelved"
	KindAlarmUnshelved    Kind = "alarm-unshelved"
	KindAlarmSuppressed   Kind = "alarm-suppressed"
	KindAlarmUnsuppressed Kind = "alarm-unsuppressed"
	KindOutOfService      Kind = "out-of-service"
	KindInService         Kind = "in-service"
	KindAirStep           Kind = "air-step"
)

// Record is one entry of the journal: an event, numbered without gaps and kept for
// good, or an air step, which has Seq 0.
type Record struct {
	Seq    uint64
	Stamp  Stamp
	By     string  // who: a person's or program's name, or "bench" for what the loop decided
	Answer *Answer // of a change that came with a key, so that its repetition gets the same answer
	Body   Body

	encoded []byte // of Body, once Encode was called
}

// Encode writes the body out as JSON and keeps it for [Record.JSON]. It fails when the
// body holds something that JSON does not have, such as an infinite figure.
func (r *Record) Encode() error {
	encoded, err := json.Marshal(r.Body)
	if err != nil {
		return fmt.Errorf("record: %s: %w", r.Body.Kind(), err)
	}
	r.encoded = encoded
	return nil
}

// JSON returns the body as JSON.
func (r Record) JSON() ([]byte, error) {
	if r.encoded == nil {
		if err := r.Encode(); err != nil {
			return nil, err
		}
	}
	return r.encoded, nil
}

// IsEvent reports whether r is an event rather than an air step.
func (r Record) IsEvent() bool { return r.Body.Kind() != KindAirStep }

// Answer is what a change with an idempotency key was answered.
type Answer struct {
	Key  string          `json:"key"`
	Hash string          `json:"hash"` // of the request, to tell a repetition from a reuse of the key
	At   time.Time       `json:"at"`
	Body json.RawMessage `json:"body"`
}

// Body is what a record says. Bodies carry facts as they were decided, so that
// applying them needs neither the configuration nor the rules of the day.
type Body interface {
	Kind() Kind
	apply(s *State, r Record)
}

// Started opens a run of the daemon.
type Started struct {
	Instance string `json:"instance"`
	Version  string `json:"version"`
	// Gap is how long nothing was recorded: exact when GapKnown, else the least it
	// can have been.
	Gap      time.Duration `json:"gap_ns"`
	GapKnown bool          `json:"gap_known"`
	// Shift is what bench time jumps by over and above the gap; ages do not see it.
	Shift time.Duration `json:"shift_ns"`
	// Countable: the clock was set when the last run ended, so that a gap which is
	// not known now will be known once the clock is set.
	Countable bool `json:"countable"`
}

// Stopped closes a run in good order.
type Stopped struct{}

// ClockChanged says that the wall clock was found set, or was stepped. Bench time
// moves by Step from this record on.
type ClockChanged struct {
	Step   time.Duration `json:"step_ns"`
	Synced bool          `json:"synced"`
}

// MixStarted begins a guided mix.
type MixStarted struct {
	Batch  string    `json:"batch"`
	Day    string    `json:"day"` // local, 20060102: batches are numbered by the day
	Ink    string    `json:"ink"`
	Scale  string    `json:"scale"`
	Zone   string    `json:"zone"`
	Press  string    `json:"press,omitempty"` // meant for, not loaded yet
	Cup    string    `json:"cup"`
	Colour string    `json:"colour_class"`
	Art    string    `json:"artwork"`
	Mix    guide.Mix `json:"mix"`
	Basis  Basis     `json:"basis"`
	// ThinnerReason is why the thinner's share is not the usual start.
	ThinnerReason string `json:"thinner_reason,omitempty"`
}

// Basis is what a batch's life is computed from, fixed when the batch begins: a
// later change of the configuration is for later batches.
type Basis struct {
	Life   cure.Ink    `json:"life"`
	Sensor cure.Sensor `json:"sensor"`
	Place  cure.Place  `json:"place"`
	// WeighingU is the relative standard uncertainty of the ratio of ink to hardener.
	WeighingU float64 `json:"weighing_u"`
	Solvent   Solvent `json:"solvent"`
}

// PanChanged says what the scale's weight did without a pour: gone to zero, tared,
// the cup back.
type PanChanged struct {
	Batch  string    `json:"batch"`
	Scale  string    `json:"scale"`
	Change string    `json:"change"`
	Pan    weigh.Pan `json:"pan"`
}

// HardenerBegun starts a batch's clock: the first moment the weight rose in step
// hardener and stayed up.
type HardenerBegun struct {
	Batch     string    `json:"batch"`
	MixedAt   time.Time `json:"mixed_at"`
	WeighingU float64   `json:"weighing_u"`
}

// Confirmed is a step that a person confirmed; the mix is as it stands afterwards.
type Confirmed struct {
	Batch    string     `json:"batch"`
	Step     guide.Step `json:"step"`
	Next     guide.Step `json:"next"` // the same step when the weight was out of tolerance
	Part     mix.Part   `json:"part,omitempty"`
	Can      string     `json:"can,omitempty"`
	AddedG   float64    `json:"added_g"`
	WeightG  float64    `json:"weight_g"`
	Override string     `json:"override,omitempty"`
	// MixedAt is set when this confirm starts the clock: no rise was seen.
	MixedAt *time.Time `json:"mixed_at,omitempty"`
	Mix     guide.Mix  `json:"mix"`
}

// Corrected re-labels or undoes the last pour.
type Corrected struct {
	Batch   string     `json:"batch"`
	Part    mix.Part   `json:"part,omitempty"`
	Undo    bool       `json:"undo,omitempty"`
	MixedAt *time.Time `json:"mixed_at,omitempty"` // of a pour re-labelled as hardener
	Mix     guide.Mix  `json:"mix"`
}

// Rested says that an ink's rest is over.
type Rested struct {
	Batch string    `json:"batch"`
	Mix   guide.Mix `json:"mix"`
}

// Recorded is a batch that was mixed without the guide.
type Recorded struct {
	Batch   string              `json:"batch"`
	Day     string              `json:"day"`
	Ink     string              `json:"ink"`
	Zone    string              `json:"zone"`
	Cup     string              `json:"cup"`
	MixedAt time.Time           `json:"mixed_at"`
	Mix     guide.Mix           `json:"mix"`
	Cans    map[mix.Part]string `json:"cans,omitempty"`
	Basis   Basis               `json:"basis"`
}

// Loaded puts a batch on a press.
type Loaded struct {
	Batch string     `json:"batch"`
	Press string     `json:"press"`
	Zone  string     `json:"zone"`
	Place cure.Place `json:"place"`
}

// Unloaded takes whatever stands on a press off it, or lifts the stop that a batch
// which went off left there.
type Unloaded struct {
	Batch string     `json:"batch,omitempty"`
	Press string     `json:"press"`
	Zone  string     `json:"zone"` // where the batch stands now
	Place cure.Place `json:"place"`
}

// Good says that somebody looked at the batch and it is good.
type Good struct {
	Batch string `json:"batch"`
}

// Abandoned ends a mix that was not finished.
type Abandoned struct {
	Batch  string  `json:"batch"`
	Ink    string  `json:"ink"`
	WasteG float64 `json:"waste_g"`
}

// Closed ends a batch. Outcome is used-up, discarded, went-off or not-known.
type Closed struct {
	Batch     string   `json:"batch"`
	Ink       string   `json:"ink"`
	Press     string   `json:"press,omitempty"`
	Outcome   string   `json:"outcome"`
	StillGood string   `json:"still_good"` // yes, no, unknown
	Seen      string   `json:"seen"`       // now, earlier
	LeftG     *float64 `json:"left_g,omitempty"`
}

// AirStep is a closed piece of a zone's air over which the batches of the zone were
// advanced. It begins where the zone's last step ended, and ends no later than the
// record's own time.
type AirStep struct {
	Zone  string    `json:"zone"`
	Start time.Time `json:"start"` // where the zone's last step ended, as it was known then
	Step  cure.Step `json:"step"`
	// After is the air that the next step starts from; it differs from the step's
	// own end when a sensor came back with another value.
	After air.State `json:"after"`
	// ReadAt is the time of the newest reading, zero when there never was one.
	ReadAt time.Time `json:"read_at,omitzero"`
}

func (Started) Kind() Kind       { return KindStarted }
func (Stopped) Kind() Kind       { return KindStopped }
func (ClockChanged) Kind() Kind  { return KindClockChanged }
func (MixStarted) Kind() Kind    { return KindMixStarted }
func (PanChanged) Kind() Kind    { return KindPanChanged }
func (HardenerBegun) Kind() Kind { return KindHardenerBegun }
func (Confirmed) Kind() Kind     { return KindConfirmed }
func (Corrected) Kind() Kind     { return KindCorrected }
func (Rested) Kind() Kind        { return KindRested }
func (Recorded) Kind() Kind      { return KindRecorded }
func (Loaded) Kind() Kind        { return KindLoaded }
func (Unloaded) Kind() Kind      { return KindUnloaded }
func (Good) Kind() Kind          { return KindGood }
func (Abandoned) Kind() Kind     { return KindAbandoned }
func (Closed) Kind() Kind        { return KindClosed }
func (AirStep) Kind() Kind       { return KindAirStep }

// DecodeBody reads the body of a record of the given kind. A kind that this version
// does not know is an error: a journal is never read past what is understood.
func DecodeBody(kind Kind, data []byte) (Body, error) {
	switch kind {
	case KindStarted:
		return decode[Started](kind, data)
	case KindStopped:
		return decode[Stopped](kind, data)
	case KindClockChanged:
		return decode[ClockChanged](kind, data)
	case KindMixStarted:
		return decode[MixStarted](kind, data)
	case KindPanChanged:
		return decode[PanChanged](kind, data)
	case KindHardenerBegun:
		return decode[HardenerBegun](kind, data)
	case KindConfirmed:
		return decode[Confirmed](kind, data)
	case KindCorrected:
		return decode[Corrected](kind, data)
	case KindRested:
		return decode[Rested](kind, data)
	case KindRecorded:
		return decode[Recorded](kind, data)
	case KindLoaded:
		return decode[Loaded](kind, data)
	case KindUnloaded:
		return decode[Unloaded](kind, data)
	case KindGood:
		return decode[Good](kind, data)
	case KindAbandoned:
		return decode[Abandoned](kind, data)
	case KindClosed:
		return decode[Closed](kind, data)
	case KindAlarmRaised:
		return decode[AlarmRaised](kind, data)
	case KindAlarmReturned:
		return decode[AlarmReturned](kind, data)
	case KindAlarmCleared:
		return decode[AlarmCleared](kind, data)
	case KindAlarmAcknowledged:
		return decode[AlarmAcknowledged](kind, data)
	case KindAlarmShelved:
		return decode[AlarmShelved](kind, data)
	case KindAlarmUnshelved:
		return decode[AlarmUnshelved](kind, data)
	case KindAlarmSuppressed:
		return decode[AlarmSuppressed](kind, data)
	case KindAlarmUnsuppressed:
		return decode[AlarmUnsuppressed](kind, data)
	case KindOutOfService:
		return decode[OutOfService](kind, data)
	case KindInService:
		return decode[InService](kind, data)
	case KindAirStep:
		return decode[AirStep](kind, data)
	case KindPrinted:
		return decode[Printed](kind, data)
	case KindLearnedAccepted:
		return decode[LearnedAccepted](kind, data)
	case KindSensorVerified:
		return decode[SensorVerified](kind, data)
	case KindLearnedRevoked:
		return decode[LearnedRevoked](kind, data)
	case KindDevicePaired:
		return decode[DevicePaired](kind, data)
	case KindDeviceUnpaired:
		return decode[DeviceUnpaired](kind, data)
	case KindReweighed:
		return decode[Reweighed](kind, data)
	case KindMoved:
		return decode[Moved](kind, data)
	case KindSplit:
		return decode[Split](kind, data)
	case KindToppedUp:
		return decode[ToppedUp](kind, data)
	case KindThinned:
		return decode[Thinned](kind, data)
	case KindTested:
		return decode[Tested](kind, data)
	case KindCanMade:
		return decode[CanMade](kind, data)
	case KindCanOpened:
		return decode[CanOpened](kind, data)
	case KindCanStirred:
		return decode[CanStirred](kind, data)
	case KindCanEmptied:
		return decode[CanEmptied](kind, data)
	case KindPouredFrom:
		return decode[PouredFrom](kind, data)
	case KindLeftWeighed:
		return decode[LeftWeighed](kind, data)
	case KindUndone:
		return decode[Undone](kind, data)
	case KindTakenUp:
		return decode[TakenUp](kind, data)
	}
	return nil, fmt.Errorf("record: kind %q is not known to this version", kind)
}

func decode[B Body](kind Kind, data []byte) (Body, error) {
	var b B
	if err := json.Unmarshal(data, &b); err != nil {
		return nil, fmt.Errorf("record: %s: %w", kind, err)
	}
	return b, nil
}

// About is the batch that a record is about.
func (e MixStarted) About() string    { return e.Batch }
func (e PanChanged) About() string    { return e.Batch }
func (e HardenerBegun) About() string { return e.Batch }
func (e Confirmed) About() string     { return e.Batch }
func (e Corrected) About() string     { return e.Batch }
func (e Rested) About() string        { return e.Batch }
func (e Recorded) About() string      { return e.Batch }
func (e Loaded) About() string        { return e.Batch }
func (e Unloaded) About() string      { return e.Batch }
func (e Good) About() string          { return e.Batch }
func (e Abandoned) About() string     { return e.Batch }
func (e Closed) About() string        { return e.Batch }
