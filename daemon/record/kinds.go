package record

import (
	"encoding/json"
	"fmt"
	"reflect"
	"time"

	"potlifed/daemon/actor"
)

// Kind is the name of a type of record, in the journal and in published events.
type Kind string

// Record is one entry of the journal: an event, which is numbered without gaps and kept
// forever, or an air step or a report of a count, which have Seq 0.
type Record struct {
	Seq    uint64
	Stamp  Stamp
	By     actor.Name
	Answer *Answer // to a change that came with a key, so that its repetition gets the same answer
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

// IsEvent reports whether r is an event, which has a number and is published.
func (r Record) IsEvent() bool { return r.Body.Kind().IsEvent() }

// IsEvent reports whether the records of this kind are events.
func (k Kind) IsEvent() bool { return k != KindAirStep && k != KindCounted }

// Answer is the answer to a change with an idempotency key.
type Answer struct {
	Key  string          `json:"key"`
	Hash string          `json:"hash"` // of the request, to tell a repetition from a reuse of the key
	At   time.Time       `json:"at"`
	Body json.RawMessage `json:"body,omitempty"` // absent for a report of a count
}

// Body is the content of a record. It holds the facts as they were decided. Applying it
// therefore needs neither the configuration nor the rules of that time.
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
	kind    Kind
	meaning string // what has happened, in a sentence
	body    reflect.Type
	decode  func(data []byte) (Body, error)
}

// table holds every kind of record.
var table = []row{
	rowOf[Started]("The service has started."),
	rowOf[Stopped]("The service has stopped in good order."),
	rowOf[ClockChanged]("The wall clock was found to be set, or was stepped; bench time moves with it."),
	rowOf[MixStarted]("A guided mix has begun."),
	rowOf[PanChanged]("The weight changed without a pour: the scale was zeroed or tared, or the cup was lifted or put back."),
	rowOf[HardenerBegun]("Hardener has touched the ink: the pot life has begun."),
	rowOf[Confirmed]("A step of a guided mix was confirmed, by a person or by the bench."),
	rowOf[Corrected]("A pour was re-labelled or removed, or was recorded as another part than the step asks for."),
	rowOf[PourOverBegun]("A mix that is being made waits to be poured into another cup, or stays in its old one after all."),
	rowOf[PouredOver]("A mix that is being made is in another cup."),
	rowOf[Rested]("The rest that the ink needs is over."),
	rowOf[TakenUp]("A mix that was set aside is weighed again."),
	rowOf[Recorded]("A batch was recorded that was mixed without the guide."),
	rowOf[Abandoned]("A mix was given up before it was finished."),
	rowOf[Loaded]("A batch was put on a press."),
	rowOf[Unloaded]("A batch was taken off a press, or the stop was lifted that a batch left there when it went off."),
	rowOf[Good]("A person has looked at a batch and found it good."),
	rowOf[Closed]("A batch has ended."),
	rowOf[Moved]("A batch was put into another zone."),
	rowOf[Split]("A part of a batch was poured into another cup."),
	rowOf[ToppedUp]("A batch was poured into another."),
	rowOf[Thinned]("Thinner was added to a batch in use."),
	rowOf[Tested]("A print was tested."),
	rowOf[Reweighed]("The content of a cup in use was weighed."),
	rowOf[FlowTimed]("The flow time of a batch was measured, or a measured one was corrected."),
	rowOf[TrendTaken]("An instrument that follows a batch has given a value. Experimental."),
	rowOf[LeftWeighed]("The mass left in a closed batch's cup was weighed."),
	rowOf[Undone]("An earlier event was undone."),
	rowOf[CanMade]("A can was registered."),
	rowOf[CanOpened]("A can was opened."),
	rowOf[CanStirred]("A can was stirred to the bottom."),
	rowOf[CanEmptied]("A can was reported empty, or not empty after all."),
	rowOf[PouredFrom]("A pour came from a registered can."),
	rowOf[Printed]("A press has printed."),
	rowOf[Defects]("Rejects of a press were counted or corrected."),
	rowOf[AlarmRaised]("An alarm was raised."),
	rowOf[AlarmReturned]("The cause of an alarm is gone."),
	rowOf[AlarmCleared]("An alarm has ended because its subject is gone."),
	rowOf[AlarmAcknowledged]("A person has seen an alarm."),
	rowOf[AlarmShelved]("An alarm was shelved: it is silent for a time."),
	rowOf[AlarmUnshelved]("The shelving of an alarm has ended."),
	rowOf[AlarmSuppressed]("An alarm was suppressed: its cause cannot be observed at the moment."),
	rowOf[AlarmUnsuppressed]("The suppression of an alarm has ended."),
	rowOf[OutOfService]("The maintenance of a device has begun: its alarms are silent."),
	rowOf[InService]("The maintenance of a device has ended."),
	rowOf[SensorVerified]("A sensor was checked against a reference."),
	rowOf[CorrectionAccepted]("A person has accepted the correction of a sensor."),
	rowOf[CorrectionRevoked]("A sensor's readings are no longer corrected."),
	rowOf[ScaleVerified]("A scale was checked with weights."),
	rowOf[SensorDay]("What the readings of a sensor were like over a day."),
	rowOf[ScaleDay]("How a scale settled over a day, its noise, and what it showed when it was empty."),
	rowOf[Identified]("The device at an instrument's address is known by name: for the first time, or as another one."),
	rowOf[Replaced]("An instrument was replaced, or has another address."),
	rowOf[LearnedAccepted]("A person has accepted what past batches say about an ink."),
	rowOf[LearnedRevoked]("New batches of an ink use its data sheet again."),
	rowOf[JarsStarted]("A test of an ink in jars has begun: one mix, shared among jars of different air."),
	rowOf[JarLooked]("A person has looked at a jar of a test, or a look was a mistake."),
	rowOf[JarsEnded]("A test of an ink in jars is over."),
	rowOf[ConfigurationRead]("The configuration was reloaded and took effect."),
	rowOf[DevicePaired]("A device was paired."),
	rowOf[DeviceUnpaired]("A device was unpaired."),
	rowOf[JournalRebuilt]("The journal was found damaged and was made again from what could be read."),
	rowOf[AirStep]("The air of a zone over a time, and what it did to the batches there."),
	rowOf[Counted]("A press reported prints or rejects; the event of the minute contains them."),
}

// rowOf returns the row of a type of body.
func rowOf[B Body](meaning string) row {
	var none B
	kind := none.Kind()
	return row{kind, meaning, reflect.TypeFor[B](), func(data []byte) (Body, error) {
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

// Meaning returns what a record of the given kind says, in a sentence, and the type of its
// body; both are empty for a kind that is not in the table.
func (k Kind) Meaning() (text string, body reflect.Type) { return rows[k].meaning, rows[k].body }

// DecodeBody returns the body of a record of the given kind from its stored form or its JSON. A kind that this version
// does not know is an error: a journal is never read past what is understood.
func DecodeBody(kind Kind, data []byte) (Body, error) {
	r, known := rows[kind]
	if !known {
		return nil, fmt.Errorf("record: kind %q is not known to this version", kind)
	}
	if len(data) > 0 && data[0] == packedBodies {
		b, err := unpacked(kind, data)
		if err != nil {
			return nil, fmt.Errorf("record: %s: %w", kind, err)
		}
		return b, nil
	}
	return r.decode(data)
}
