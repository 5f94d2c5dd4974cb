package record

import (
	"encoding/json"
	"fmt"
	"time"

	"potlifed/daemon/actor"
)

// Kind is the written-out name of a sort of record, as it stands in the journal and
// in published events.
type Kind string

// Record is one entry of the journal: an event, numbered without gaps and kept for
// good, or an air step, which has Seq 0.
type Record struct {
	Seq    uint64
	Stamp  Stamp
	By     actor.Name
	Answer *Answer // of a change that came with a key, so that its repetition gets the same answer
	Body   Body

	encoded []byte // of Body, once Encode was called
}

// Encode writes the body out as JSON and keeps it for [Record.JSON]. It fails when the
// body holds something that JSON does not have, such as an infinite figure, and when its
// kind is not in the table: such a record could not be read again.
func (r *Record) Encode() error {
	kind := r.Body.Kind()
	if _, known := rows[kind]; !known {
		return fmt.Errorf("record: kind %q is not in the table of kinds", kind)
	}
	encoded, err := json.Marshal(r.Body)
	if err != nil {
		return fmt.Errorf("record: %s: %w", kind, err)
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
	// Kind returns the name of the body's kind.
	Kind() Kind
	// About returns the id of the batch that the body is about, empty when it is about
	// none. Of two batches it is the one that was there before.
	About() string
	apply(s *State, r Record)
}

// row is a row of the table of kinds.
type row struct {
	kind   Kind
	decode func(data []byte) (Body, error)
}

// table holds every kind of record. Of all of them, only the air step is not an event.
var table = []row{
	rowOf[Started](),
	rowOf[Stopped](),
	rowOf[ClockChanged](),
	rowOf[MixStarted](),
	rowOf[PanChanged](),
	rowOf[HardenerBegun](),
	rowOf[Confirmed](),
	rowOf[Corrected](),
	rowOf[Rested](),
	rowOf[TakenUp](),
	rowOf[Recorded](),
	rowOf[Abandoned](),
	rowOf[Loaded](),
	rowOf[Unloaded](),
	rowOf[Good](),
	rowOf[Closed](),
	rowOf[Moved](),
	rowOf[Split](),
	rowOf[ToppedUp](),
	rowOf[Thinned](),
	rowOf[Tested](),
	rowOf[Reweighed](),
	rowOf[LeftWeighed](),
	rowOf[Undone](),
	rowOf[CanMade](),
	rowOf[CanOpened](),
	rowOf[CanStirred](),
	rowOf[CanEmptied](),
	rowOf[PouredFrom](),
	rowOf[Printed](),
	rowOf[AlarmRaised](),
	rowOf[AlarmReturned](),
	rowOf[AlarmCleared](),
	rowOf[AlarmAcknowledged](),
	rowOf[AlarmShelved](),
	rowOf[AlarmUnshelved](),
	rowOf[AlarmSuppressed](),
	rowOf[AlarmUnsuppressed](),
	rowOf[OutOfService](),
	rowOf[InService](),
	rowOf[SensorVerified](),
	rowOf[LearnedAccepted](),
	rowOf[LearnedRevoked](),
	rowOf[DevicePaired](),
	rowOf[DeviceUnpaired](),
	rowOf[AirStep](),
}

// rowOf returns the row of a type of body.
func rowOf[B Body]() row {
	var none B
	kind := none.Kind()
	return row{kind, func(data []byte) (Body, error) {
		var b B
		if err := json.Unmarshal(data, &b); err != nil {
			return nil, fmt.Errorf("record: %s: %w", kind, err)
		}
		return b, nil
	}}
}

// rows finds the row of a kind.
var rows = func() map[Kind]row {
	byKind := make(map[Kind]row, len(table))
	for _, r := range table {
		byKind[r.kind] = r
	}
	return byKind
}()

// Kinds returns all kinds, in the order of the table.
func Kinds() []Kind {
	kinds := make([]Kind, len(table))
	for i, r := range table {
		kinds[i] = r.kind
	}
	return kinds
}

// DecodeBody returns the body of a record of the given kind. A kind that this version
// does not know is an error: a journal is never read past what is understood.
func DecodeBody(kind Kind, data []byte) (Body, error) {
	r, known := rows[kind]
	if !known {
		return nil, fmt.Errorf("record: kind %q is not known to this version", kind)
	}
	return r.decode(data)
}
