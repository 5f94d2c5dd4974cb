// Package record holds the kinds of record in the journal, and the state that they build.
// It is pure: no clock, no I/O, no goroutine.
//
// A [State] that [Apply] returned is never changed: maps and batches are copied when they
// change. Any goroutine may therefore read a state, and keep it as long as it likes.
package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/model/adhesion"
	"potlifed/model/airpath"
	"potlifed/model/can"
	"potlifed/model/cure"
	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
	"potlifed/model/viscosity"
)

// ModelVersion is written into checkpoints. It changes with the arithmetic of the model. A
// batch that is open then continues from its checkpoint and is not computed again.
const ModelVersion = 1

// State is everything the daemon knows that must survive it.
type State struct {
	Journal string `json:"journal"` // the journal's own id
	Seq     uint64 `json:"seq"`     // of the newest event
	Last    Stamp  `json:"last"`    // of the newest record

	Instance string    `json:"instance"`
	Version  string    `json:"version"`
	Started  time.Time `json:"started"`

	Zones   map[string]*airpath.Closed `json:"zones"`   // the air, by zone
	Batches map[string]*Batch          `json:"batches"` // not closed
	Closed  []*Batch                   `json:"closed"`  // the newest few, without their ensembles
	Presses map[string]Press           `json:"presses"`
	Alarms  map[AlarmKey]*Alarm        `json:"alarms"`

	Prints      map[string]Count            `json:"prints"`            // by press
	Defects     map[string]map[string]Count `json:"defects,omitempty"` // by press and kind of defect
	Open        []Tally                     `json:"open_counts,omitempty"`
	ClosedTotal map[ClosedKey]int           `json:"closed_total"`
	Ends        map[lifecycle.Outcome]Ends  `json:"ends,omitempty"`
	CupEmptyG   map[string]float64          `json:"cup_empty_g"`       // learned at the bench
	Learned     map[string]Learned          `json:"learned,omitempty"` // of inks, by id

	// FlowSeries are the flow times of batches that ended, by ink, oldest first.
	FlowSeries map[string][]viscosity.Series `json:"flow_series,omitempty"`
	// TrendSeries are what instruments said of batches that ended, by TrendKey, oldest first.
	TrendSeries map[string][]viscosity.Series `json:"trend_series,omitempty"`
	// AdhesionTests are the tests of prints whose age is known, by ink, oldest first.
	AdhesionTests map[string][]adhesion.Test `json:"adhesion_tests,omitempty"`
	// JarTests are the tests in jars that count, by ink, oldest first; the newest may be running.
	JarTests map[string][]JarTest `json:"jar_tests,omitempty"`

	Verified map[string]time.Time `json:"verified,omitempty"` // when sensors were checked last, by id
	// FailedChecks are checks of sensors that did not pass, by id, until one does.
	FailedChecks map[string]FailedCheck `json:"failed_checks,omitempty"`
	Checks       map[string]SensorCheck `json:"checks,omitempty"`       // the newest of each sensor
	Corrections  map[string]Correction  `json:"corrections,omitempty"`  // in use, by sensor
	ScaleChecks  map[string]ScaleCheck  `json:"scale_checks,omitempty"` // the newest of each scale
	Replaced     map[string]time.Time   `json:"replaced,omitempty"`     // when instruments were replaced last, by id

	SensorDays map[string][]health.Day    `json:"sensor_days,omitempty"` // the days of each sensor, oldest first
	ScaleDays  map[string][]health.PanDay `json:"scale_days,omitempty"`  // the same of each scale

	Devices map[string]string `json:"devices,omitempty"` // the addresses of instruments, by SensorKey or ScaleKey
	Moved   map[string]Move   `json:"moved,omitempty"`   // those whose address has changed, until a person says why

	Names   map[string]string `json:"names,omitempty"`   // of the devices at these addresses, with the same keys
	Renamed map[string]Move   `json:"renamed,omitempty"` // those at whose address another device is, until a person says why

	Cans      map[string]*can.Can `json:"cans,omitempty"` // by id
	CanNumber int                 `json:"can_number,omitempty"`

	// Day and Number make the next batch's id. Day never goes back, even when the clock
	// does, so an id is not given twice.
	Day    string `json:"day"` // 20060102
	Number int    `json:"number"`

	// ReportKeys are the keys of reports of prints and rejects, oldest first.
	ReportKeys []ReportKeys `json:"report_keys,omitempty"`

	// Loss is what a damaged journal has left unknown, nil for nothing. RebuiltOf is the id of the
	// journal whose beginning says so.
	Loss      *Loss  `json:"loss,omitempty"`
	RebuiltOf string `json:"rebuilt_of,omitempty"`

	// Undoables are the changes that can still be undone, oldest first. The JSON name is
	// that of checkpoints on disk.
	Undoables []Undoable `json:"doings,omitempty"`
}

// AlarmKey names an alarm.
type AlarmKey struct{ Name, Subject string }

// ClosedKey counts closed batches.
type ClosedKey struct {
	Ink     string
	Outcome lifecycle.Outcome
}

// Batch is one mix.
type Batch struct {
	ID     string `json:"id"`
	Ink    string `json:"ink"`
	Scale  string `json:"scale,omitempty"` // empty when it was mixed without the guide
	Zone   string `json:"zone"`            // where it stands
	Press  string `json:"press,omitempty"` // where it is loaded
	For    string `json:"for,omitempty"`   // the press it is meant for
	Used   bool   `json:"used,omitempty"`  // it is on a press, or has been
	Cup    string `json:"cup"`
	Colour string `json:"colour_class"`
	Art    string `json:"artwork"`

	ThinnerReason string `json:"thinner_reason,omitempty"` // why not the usual start

	Phase     lifecycle.Phase     `json:"phase"`
	Mix       guide.Mix           `json:"mix"`
	Cans      map[mix.Part]string `json:"cans,omitempty"`  // by part, of before each pour knew its own
	Draws     []PouredFrom        `json:"draws,omitempty"` // from registered cans
	Basis     Basis               `json:"basis"`
	StartedAt time.Time           `json:"started_at"`
	MixedAt   time.Time           `json:"mixed_at,omitzero"` // the first hardener
	GoodAt    time.Time           `json:"good_at,omitzero"`
	// AsideAt is when the mix was set aside for another one; zero while it is the mix that
	// is weighed on its scale.
	AsideAt time.Time `json:"aside_at,omitzero"`

	// Ensemble is the batch's pot life at the end of its zone's last closed step; nil before
	// the first hardener and after closing.
	Ensemble *cure.Ensemble `json:"cloud,omitempty"`
	// WithoutLots is the ink of the ensemble before what is known of its lots; the zero Ink while
	// nothing is.
	WithoutLots cure.Ink `json:"without_lots,omitzero"`
	// AtLeast: the age is only a lower bound. Countable: the missing part will be
	// known once the clock is set.
	AtLeast   bool `json:"at_least,omitempty"`
	Countable bool `json:"countable,omitempty"`
	// Unseen is the jump of bench time at the restart that the age does not include. It is
	// set while Countable, and part of what will be counted.
	Unseen time.Duration `json:"unseen_ns,omitempty"`

	// GivenAway is the share of the mix that was split off; Added is what came in since:
	// thinner in use, another batch. See [Batch.Amounts].
	GivenAway float64         `json:"given_away,omitempty"`
	Added     mix.Amounts     `json:"added,omitzero"`
	AddedFrom []mix.Component `json:"added_from,omitempty"` // what of it came from cans that are known
	// Solvent is the account of the thinner in the cup, nil until the batch is mixed.
	Solvent *evaporate.Cup `json:"solvent,omitempty"`
	// PartWentOff: a part of the same mix went off that had spent no more of its pot life
	// than this batch has. YoungerThanDead: it had spent more. Both until a person says good.
	PartWentOff     bool   `json:"part_went_off,omitempty"`
	YoungerThanDead bool   `json:"younger_than_dead,omitempty"`
	Tests           []Test `json:"tests,omitempty"`
	Flows           []Flow `json:"flows,omitempty"` // flow times that count, oldest first
	Trend           *Trend `json:"trend,omitempty"` // of the instrument that follows it, nil without one

	ClosedAt  time.Time           `json:"closed_at,omitzero"`
	Outcome   lifecycle.Outcome   `json:"outcome,omitempty"`
	StillGood lifecycle.StillGood `json:"still_good,omitempty"`
	LeftG     *float64            `json:"left_g,omitempty"`
	Spent     float64             `json:"spent,omitempty"` // when it was closed

	// Prints and Defects, by kind, are those that were reported while it was loaded.
	Prints  uint64            `json:"prints,omitempty"`
	Defects map[string]uint64 `json:"defects,omitempty"`
}

// Press is what stands on a press.
type Press struct {
	Batch string `json:"batch,omitempty"`
	// WentOff is the batch that was closed here as gone off; it keeps the press at
	// do-not-print until the press is unloaded or loaded again.
	WentOff string `json:"went_off,omitempty"`
}

const keptClosed = 100 // closed batches that stay in the state

// NewState is the state of an empty journal.
func NewState(journal string) State {
	return State{
		Journal: journal,
		Zones:   map[string]*airpath.Closed{}, Batches: map[string]*Batch{}, Presses: map[string]Press{},
		Alarms: map[AlarmKey]*Alarm{}, Prints: map[string]Count{}, ClosedTotal: map[ClosedKey]int{},
		CupEmptyG: map[string]float64{},
	}
}

// Apply returns the state after a record. It is the only way the state changes, while
// running and at a start. The given state is not changed.
func Apply(s State, r Record) State {
	if r.IsEvent() {
		s.Seq = r.Seq
	}
	s.Last = r.Stamp
	before := s
	r.Body.apply(&s, r)
	if r.IsEvent() {
		s.rememberUndo(before, r)
	}
	if r.Answer != nil && r.Body.Kind() == KindCounted {
		s = s.WithReportKey(*r.Answer)
	}
	return s
}

// change replaces a batch by a copy that f has altered.
func (s *State) change(id string, f func(b *Batch)) {
	old, ok := s.Batches[id]
	if !ok {
		return
	}
	b := *old
	f(&b)
	s.Batches = maps.Clone(s.Batches)
	s.Batches[id] = &b
}

// changeAll replaces every open batch for which f reports that it altered the copy.
func (s *State) changeAll(f func(b *Batch) bool) {
	next := make(map[string]*Batch, len(s.Batches))
	for id, old := range s.Batches {
		b := *old
		if f(&b) {
			next[id] = &b
		} else {
			next[id] = old
		}
	}
	s.Batches = next
}

// end moves a batch from the open to the closed ones.
func (s *State) end(b Batch) {
	if b.Ensemble != nil {
		b.Spent = b.Ensemble.Spent()
		b.Ensemble = nil
	}
	b.Phase = lifecycle.Closed
	s.Batches = maps.Clone(s.Batches)
	delete(s.Batches, b.ID)
	s.Closed = append(slices.Clone(s.Closed), &b)
	if n := len(s.Closed) - keptClosed; n > 0 {
		s.Closed = s.Closed[n:]
	}
	s.ClosedTotal = maps.Clone(s.ClosedTotal)
	s.ClosedTotal[ClosedKey{b.Ink, b.Outcome}]++
	// Its alarms end with the batch.
	s.Alarms = maps.Clone(s.Alarms)
	maps.DeleteFunc(s.Alarms, func(k AlarmKey, _ *Alarm) bool { return k.Subject == b.ID })
}

func (s *State) setPress(id string, p Press) {
	s.Presses = maps.Clone(s.Presses)
	s.Presses[id] = p
}

// Find returns an open or a recently closed batch; false when there is none.
func (s State) Find(id string) (*Batch, bool) {
	if b, ok := s.Batches[id]; ok {
		return b, true
	}
	for _, b := range slices.Backward(s.Closed) {
		if b.ID == id {
			return b, true
		}
	}
	return nil, false
}
