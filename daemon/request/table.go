package request

import (
	"reflect"
	"slices"
	"strings"
)

// Row describes one change. HTTP, MQTT, the rights and the description of the API are
// made from the rows.
type Row struct {
	// Verb is the last word of the change's path and its MQTT command.
	Verb  string
	Right Right
	// Path is the path of the POST request below /api/v1/, with the ids in braces.
	Path string
	// About names the JSON fields that HTTP has in the path, in the order of the path. In a
	// body they are refused. Over MQTT they are fields like the others.
	About []string
	// Summary is the summary in the description of the API.
	Summary string
	// NeedsBody: the request is refused without a body.
	NeedsBody bool
	// MQTT: the change is accepted as a command.
	MQTT bool
	// Type is the structure of the change's fields.
	Type reflect.Type
}

// table holds the rows in the order of the description.
var table = []Row{
	row[StartMix](RightMix, "batches", "Start a guided mix, or record one already mixed", withBody),
	row[RecordMix](RightMix, "batches", "Record a batch that was mixed without the guide", withBody),
	row[ConfirmStep](RightMix, "batches/{id}/confirm", "Confirm the step that a guided mix waits at", withBody, about("batch")),
	row[Undo](RightMix, "batches/{id}/undo", "Undo, within ten seconds, a change of a batch: load, move, unload, close, good, thin, split, top-up, tests, flow-time, abandon", withBody, about("batch")),
	row[TakeUp](RightMix, "batches/{id}/take-up", "Continue a mix that was set aside, or confirm that the cup on the scale is its own", about("batch")),
	row[CorrectPour](RightMix, "batches/{id}/correct", "Re-label or undo a pour, or say what was poured that is not taken yet", withBody, about("batch")),
	row[PourMixOver](RightMix, "batches/{id}/pour-over", "Pour a mix that is being made into another cup: before the old cup is lifted, and confirmed as step pour-over with the new one on the scale", withBody, about("batch")),
	row[LoadBatch](RightMix, "batches/{id}/load", "Put a batch on a press", withBody, about("batch")),
	row[UnloadBatch](RightMix, "batches/{id}/unload", "Take a batch off its press", about("batch")),
	row[MoveBatch](RightMix, "batches/{id}/move", "Put a batch onto a press or into another zone", withBody, about("batch")),
	row[SplitBatch](RightMix, "batches/{id}/split", "Pour a part of a batch into another cup", withBody, about("batch")),
	row[TopUpBatch](RightMix, "batches/{id}/top-up", "Pour another batch into this one; the whole has the pot life of the older one", withBody, about("batch")),
	row[ThinBatch](RightMix, "batches/{id}/thin", "Add thinner to a batch in use; it does not extend the pot life", withBody, about("batch")),
	row[ReweighBatch](RightMix, "batches/{id}/reweigh", "Record what a cup in use weighs, and so how much evaporated", withBody, about("batch")),
	row[FlowTimeBatch](RightMix, "batches/{id}/flow-time", "Record the flow time of a batch from a flow cup: how thick it is tells how old it is; it does not replace weighing", withBody, about("batch")),
	row[TestBatch](RightMix, "batches/{id}/tests", "Record a test of prints that were made with a batch", withBody, about("batch")),
	row[GoodBatch](RightMix, "batches/{id}/good", "Record that a person looked at a batch and found it good", about("batch")),
	row[AbandonMix](RightMix, "batches/{id}/abandon", "Abandon a mix that is not finished", about("batch")),
	row[CloseBatch](RightMix, "batches/{id}/close", "End a batch", withBody, about("batch")),

	row[AcknowledgeAlarm](RightAcknowledge, "alarms/{name}/{subject}/acknowledge", "Acknowledge an alarm: a person has seen it", about("alarm", "subject")),
	row[ShelveAlarm](RightAcknowledge, "alarms/{name}/{subject}/shelve", "Shelve an alarm: silence it for a time", withBody, about("alarm", "subject")),
	row[UnshelveAlarm](RightAcknowledge, "alarms/{name}/{subject}/unshelve", "End the shelving of an alarm", about("alarm", "subject")),

	row[CountPrints](RightReport, "presses/{id}/prints", "Record what a press has printed", withBody, about("press")),
	row[CountDefects](RightReport, "presses/{id}/defects", "Record rejects of a press by one kind of defect", withBody, about("press")),

	row[VerifySensor](RightConfigure, "sensors/{id}/verifications", "Record a check of a sensor's humidity against a salt or a reference meter, and judge it", withBody, about("sensor")),
	row[AcceptCorrection](RightConfigure, "sensors/{id}/accept-correction", "Correct a sensor's readings from now on, as its newest check says", about("sensor")),
	row[RevokeCorrection](RightConfigure, "sensors/{id}/revoke-correction", "Stop correcting a sensor's readings", about("sensor")),
	row[ReplaceDevice](RightConfigure, "sensors/{id}/replaced", "Record that a sensor or scale was replaced: its correction, its checks and its noise are forgotten", about("sensor")),
	row[VerifyScale](RightConfigure, "scales/{id}/verifications", "Record a check of a scale with weights, and judge it", withBody, about("scale")),
	row[TakeOutOfService](RightConfigure, "sensors/{id}/out-of-service", "Begin the maintenance of a sensor or scale: its alarms are silent", withBody, about("sensor")),
	row[PutInService](RightConfigure, "sensors/{id}/in-service", "End the maintenance of a sensor or scale", about("sensor")),

	row[MakeCan](RightMix, "cans", "Register a can", withBody),
	row[OpenCan](RightMix, "cans/{id}/opened", "Record the date on which a can was opened; default today", about("can")),
	row[StirCan](RightMix, "cans/{id}/stirred", "Record that a can was stirred to the bottom", about("can")),
	row[EmptyCan](RightMix, "cans/{id}/emptied", "Record that a can is empty, or that it is not", about("can")),

	row[AcceptLearned](RightConfigure, "inks/{id}/accept-learned", "Accept an ink's learned parameters for batches mixed from now on", about("ink"), noCommand),
	row[RevokeLearned](RightConfigure, "inks/{id}/revoke-learned", "Return to an ink's data sheet for batches mixed from now on", about("ink"), noCommand),

	row[StartJars](RightMix, "inks/{id}/start-jars", "Start a test of an ink in jars: one mix, shared among jars of different air; answers with when to look at each", withBody, about("ink")),
	row[LookAtJar](RightMix, "inks/{id}/look-at-jar", "Record what a person saw of a jar of the ink's running test", withBody, about("ink")),
	row[EndJars](RightMix, "inks/{id}/end-jars", "End an ink's running test in jars; what was seen counts for what is learned of the ink", about("ink")),

	row[ReloadConfiguration](RightConfigure, "configuration/reload", "Reload the configuration: all of it takes effect, or nothing; batches are not touched", noCommand),

	row[PairDevice](RightConfigure, "session", "Pair a device with the shop's PIN: answers with the cookie of a session of 30 days", withBody, noCommand),
	row[UnpairDevice](RightConfigure, "sessions/{id}/unpair", "End a session at once", noCommand),
}

func row[C Change](right Right, path, summary string, options ...func(*Row)) Row {
	var none C
	r := Row{Verb: none.Verb(), Right: right, Path: path, Summary: summary, MQTT: true, Type: reflect.TypeFor[C]()}
	for _, option := range options {
		option(&r)
	}
	return r
}

func withBody(r *Row)  { r.NeedsBody = true }
func noCommand(r *Row) { r.MQTT = false }

func about(fields ...string) func(*Row) {
	return func(r *Row) { r.About = fields }
}

// Table returns the rows of all changes.
func Table() []Row { return slices.Clone(table) }

// Find returns the row of a verb; ok is false when there is no such change.
func Find(verb string) (r Row, ok bool) {
	i := slices.IndexFunc(table, func(r Row) bool { return r.Verb == verb })
	if i < 0 {
		return Row{}, false
	}
	return table[i], true
}

// Required returns the JSON names of the fields that a command must have: those of About,
// and every field that is not optional.
func (r Row) Required() []string {
	names := slices.Clone(r.About)
	for i := range r.Type.NumField() {
		name, options, _ := strings.Cut(r.Type.Field(i).Tag.Get("json"), ",")
		if name != "" && name != "-" && !strings.Contains(options, "omitempty") && !strings.Contains(options, "omitzero") {
			names = append(names, name)
		}
	}
	return names
}

// New returns a pointer to an empty change of the row, for a decoder to fill, and the
// function that returns the change once it is filled.
func (r Row) New() (pointer any, change func() Change) {
	v := reflect.New(r.Type)
	return v.Interface(), func() Change { return v.Elem().Interface().(Change) }
}

// With returns the change with the fields of About set to ids, which are in the order
// of About.
func (r Row) With(c Change, ids ...string) Change {
	v := reflect.New(r.Type).Elem()
	v.Set(reflect.ValueOf(c))
	for i, id := range ids {
		for n := range r.Type.NumField() {
			if name, _, _ := strings.Cut(r.Type.Field(n).Tag.Get("json"), ","); name == r.About[i] {
				v.Field(n).SetString(id)
			}
		}
	}
	return v.Interface().(Change)
}
