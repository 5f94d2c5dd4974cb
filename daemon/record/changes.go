package record

import (
	"encoding/json"
	"fmt"
	"time"

	"potlifed/model/cure"
)

// Change is something a person or a program asks for. The same structures are read
// from HTTP bodies and from MQTT commands.
type Change interface{ Verb() string }

// StartMix starts a guided mix.
type StartMix struct {
	Scale       string   `json:"scale,omitempty" doc:"the scale it is weighed on; may be left out where there is one"`
	Ink         string   `json:"ink"`
	Press       string   `json:"press,omitempty" doc:"the press it is meant for; its cup is used"`
	Cup         string   `json:"cup,omitempty" doc:"in place of press"`
	ColourClass string   `json:"colour_class,omitempty" enum:"dark,light,heavy-light" doc:"default dark"`
	Artwork     string   `json:"artwork,omitempty" enum:"fine-detail,normal,large-solid" doc:"default normal"`
	InkG        *float64 `json:"ink_g,omitempty" doc:"default: the cup's minimum"`
	ThinnerPct  *float64 `json:"thinner_pct,omitempty" doc:"of ink and hardener together; default from colour class and artwork"`
	// ThinnerReason is kept with the batch.
	ThinnerReason string `json:"thinner_reason,omitempty" maxLength:"200" doc:"why thinner_pct is not the usual start"`
}

// RecordMix records a batch that was mixed without the guide.
type RecordMix struct {
	Ink        string      `json:"ink"`
	MixedAt    time.Time   `json:"mixed_at" doc:"when the hardener went in"`
	Cup        string      `json:"cup,omitempty"`
	Zone       string      `json:"zone,omitempty" doc:"where it stands; default: the first scale's zone"`
	Components []Component `json:"components"`
}

// ConfirmStep confirms the step that it names.
type ConfirmStep struct {
	Batch    string `json:"batch,omitempty" hidden:"true"`
	Step     string `json:"step"`
	Override string `json:"override,omitempty" doc:"the reason to go on out of tolerance"`
	Part     string `json:"part,omitempty" enum:"ink,hardener,thinner" doc:"what was poured, where it is not what the first correction asks for"`
	Can      string `json:"can,omitempty" doc:"the can it came from; left out, it is the one in use, if cans are registered"`
	// CanOverride is apart from Override: a word about a can is none about the ratio.
	CanOverride string `json:"can_override,omitempty" maxLength:"200" doc:"the reason to use a hardener that is past its last day, or may be; override will do as well"`
	Tared       *bool  `json:"tared,omitempty" doc:"answers the question whether the scale was tared (true) or the cup lifted (false)"`
}

// CorrectPour re-labels or undoes the last pour.
type CorrectPour struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
	Part  string `json:"part,omitempty" enum:"ink,hardener,thinner"`
	Undo  bool   `json:"undo,omitempty"`
}

// LoadBatch puts a batch on a press.
type LoadBatch struct {
	Batch   string `json:"batch,omitempty" hidden:"true"`
	Press   string `json:"press"`
	Replace bool   `json:"replace,omitempty" doc:"take off what stands there"`
}

// UnloadBatch takes a batch off its press, or lifts the stop that a batch which went
// off left on it.
type UnloadBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
}

// Where is where a batch is put: on a press or into a zone.
type Where struct {
	Press string `json:"press,omitempty"`
	Zone  string `json:"zone,omitempty"`
}

// MoveBatch puts a batch onto a press or into another zone.
type MoveBatch struct {
	Batch    string   `json:"batch,omitempty" hidden:"true"`
	Press    string   `json:"press,omitempty"`
	Zone     string   `json:"zone,omitempty" doc:"in place of press"`
	Exposure *float64 `json:"exposure,omitempty" doc:"1 open or in use, about 0.5 loosely covered; default: the press's cup, else 1"`
	Replace  bool     `json:"replace,omitempty" doc:"take off what stands on the press"`
}

// SplitBatch pours a part of a batch into another cup.
type SplitBatch struct {
	Batch    string   `json:"batch,omitempty" hidden:"true"`
	Grams    float64  `json:"grams"`
	To       Where    `json:"to" doc:"where the new part stands"`
	Exposure *float64 `json:"exposure,omitempty"`
	Replace  bool     `json:"replace,omitempty"`
}

// TopUpBatch pours another batch into this one.
type TopUpBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
	From  string `json:"from" doc:"the batch that is poured in; it is used up by that"`
}

// ThinBatch adds thinner to a batch in use.
type ThinBatch struct {
	Batch    string  `json:"batch,omitempty" hidden:"true"`
	Grams    float64 `json:"grams"`
	Override string  `json:"override,omitempty" doc:"the reason to go beyond the ink's range"`
	Can      string  `json:"can,omitempty" doc:"the can it came from"`
}

// ReweighBatch says what a cup in use weighs now.
type ReweighBatch struct {
	Batch    string  `json:"batch,omitempty" hidden:"true"`
	ContentG float64 `json:"content_g" doc:"what is in the cup now, without the cup"`
	TakenG   float64 `json:"taken_g,omitempty" doc:"what went out on prints since it was weighed last; best weighed when that is nothing"`
}

// TestBatch logs a test of what was printed with a batch.
type TestBatch struct {
	Batch  string `json:"batch,omitempty" hidden:"true"`
	Kind   string `json:"kind" enum:"adhesion,rub,other"`
	Result string `json:"result" enum:"pass,fail"`
}

// AcceptLearned accepts what was learned of an ink, for batches mixed from now on. It
// is made by the program from its own journal and never read from a request.
type AcceptLearned struct {
	Ink     string
	Sheet   cure.Ink
	Life    cure.Ink
	Verdict string
	Ends    int
	Alive   int
	Assumed []string
}

// RevokeLearned goes back to the data sheet, for batches mixed from now on.
type RevokeLearned struct {
	Ink string `json:"ink,omitempty" hidden:"true"`
}

// GoodBatch says that somebody looked, and the batch is good.
type GoodBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
}

// AbandonMix gives a mix up.
type AbandonMix struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
}

// CloseBatch ends a batch.
type CloseBatch struct {
	Batch     string   `json:"batch,omitempty" hidden:"true"`
	Outcome   string   `json:"outcome" enum:"used-up,discarded,went-off,not-known"`
	StillGood string   `json:"still_good,omitempty" enum:"yes,no,unknown" doc:"was it still good? default unknown"`
	Seen      string   `json:"seen,omitempty" enum:"now,earlier" doc:"when it was seen to go off; default earlier"`
	LeftG     *float64 `json:"left_g,omitempty"`
	Weigh     bool     `json:"weigh,omitempty" doc:"in place of left_g: take the settled weight of the cup on the scale, less the empty cup's"`
	Scale     string   `json:"scale,omitempty" doc:"with weigh: default the scale that it was mixed on, or the only one"`
	EmptyG    *float64 `json:"empty_g,omitempty" doc:"with weigh: what the cup weighs empty, where the bench does not know"`
}

// AcknowledgeAlarm says that somebody has seen an alarm.
type AcknowledgeAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true"`
	Subject string `json:"subject,omitempty" hidden:"true"`
}

// ShelveAlarm puts an alarm aside for a time.
type ShelveAlarm struct {
	Alarm   string    `json:"alarm,omitempty" hidden:"true"`
	Subject string    `json:"subject,omitempty" hidden:"true"`
	Until   time.Time `json:"until" doc:"at most 12 hours ahead"`
	Reason  string    `json:"reason,omitempty" maxLength:"200"`
}

// UnshelveAlarm takes an alarm off the shelf before its time.
type UnshelveAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true"`
	Subject string `json:"subject,omitempty" hidden:"true"`
}

// TakeOutOfService begins the maintenance of a sensor or a scale: the alarms that are
// about it are silent.
type TakeOutOfService struct {
	Sensor string    `json:"sensor,omitempty" hidden:"true"`
	Until  time.Time `json:"until" doc:"at most 30 days ahead"`
	Reason string    `json:"reason" minLength:"1" maxLength:"200"`
}

// PutInService ends the maintenance of a sensor or a scale before its time.
type PutInService struct {
	Sensor string `json:"sensor,omitempty" hidden:"true"`
}

// VerifySensor records a check of a sensor: what the air was by a reference.
type VerifySensor struct {
	Sensor       string   `json:"sensor,omitempty" hidden:"true"`
	HumidityPct  *float64 `json:"humidity_pct" doc:"by the reference: a salt point or a better meter" minimum:"0" maximum:"100"`
	TemperatureC *float64 `json:"temperature_c,omitempty" doc:"by the reference" minimum:"-40" maximum:"80"`
	Note         string   `json:"note,omitempty" maxLength:"200"`
}

// Verb returns the last word of the change's path, which is also its MQTT command.
func (StartMix) Verb() string         { return "mix" }
func (RecordMix) Verb() string        { return "record" }
func (ConfirmStep) Verb() string      { return "confirm" }
func (CorrectPour) Verb() string      { return "correct" }
func (LoadBatch) Verb() string        { return "load" }
func (UnloadBatch) Verb() string      { return "unload" }
func (GoodBatch) Verb() string        { return "good" }
func (AbandonMix) Verb() string       { return "abandon" }
func (CloseBatch) Verb() string       { return "close" }
func (MoveBatch) Verb() string        { return "move" }
func (SplitBatch) Verb() string       { return "split" }
func (TopUpBatch) Verb() string       { return "top-up" }
func (ThinBatch) Verb() string        { return "thin" }
func (ReweighBatch) Verb() string     { return "reweigh" }
func (TestBatch) Verb() string        { return "tests" }
func (AcceptLearned) Verb() string    { return "accept-learned" }
func (RevokeLearned) Verb() string    { return "revoke-learned" }
func (AcknowledgeAlarm) Verb() string { return "acknowledge" }
func (ShelveAlarm) Verb() string      { return "shelve" }
func (UnshelveAlarm) Verb() string    { return "unshelve" }
func (TakeOutOfService) Verb() string { return "out-of-service" }
func (VerifySensor) Verb() string     { return "verifications" }
func (PutInService) Verb() string     { return "in-service" }

// Request is a change with who asks for it.
type Request struct {
	Change Change
	By     string
	Key    string // honoured for a day: the same key gets the same answer; may be empty
	Hash   string // of what was asked, with Key
}

// Reply answers a request. Body is the changed thing as JSON.
type Reply struct {
	Body   json.RawMessage
	OnDisk bool
}

// Refusal is a change that was not made. Status is the HTTP status that fits:
// 404 no such thing, 409 not now, 422 not like this, 503 the journal cannot write.
type Refusal struct {
	Status int
	// Code tells programs which refusal it is, where an answer hangs on that; empty
	// where the status says enough. The codes are those of the guide.
	Code   string
	Title  string
	Detail string // what is wrong, where, and what to do
}

func (r *Refusal) Error() string { return r.Title + ": " + r.Detail }

// Refuse makes a refusal.
func Refuse(status int, title, format string, args ...any) *Refusal {
	return &Refusal{Status: status, Title: title, Detail: fmt.Sprintf(format, args...)}
}
