package request

import (
	"time"

	"potlifed/model/lifecycle"
)

// LoadBatch puts a batch on a press.
type LoadBatch struct {
	Batch    string    `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Press    string    `json:"press" doc:"id of the press"`
	Replace  bool      `json:"replace,omitempty" doc:"unload the batch that is on the press first"`
	Looked   bool      `json:"looked,omitempty" doc:"somebody has just looked at the batch and found it good; recorded as good, and needed while the batch has look_first"`
	ComesOff *ComesOff `json:"comes_off,omitempty" doc:"what becomes of the batch that is on the press; it is closed or kept by the same change, and replace need not be set"`
}

// ComesOff says what becomes of the batch that another one replaces on a press. The fields are
// those of [CloseBatch].
type ComesOff struct {
	Batch     string              `json:"batch" minLength:"1" doc:"id of the batch that is meant; the change is refused when another one is on the press"`
	Outcome   string              `json:"outcome" enum:"used-up,discarded,went-off,not-known,kept" doc:"how the batch ended: used-up, discarded, went-off or not-known; or kept: it stays open, loosely covered at the bench"`
	StillGood lifecycle.StillGood `json:"still_good,omitempty" enum:"yes,no,unknown" doc:"whether it was still good; default unknown"`
	Seen      lifecycle.Seen      `json:"seen,omitempty" enum:"now,earlier" doc:"whether somebody saw it go off now, or it had gone off earlier; default earlier"`
	LeftG     *float64            `json:"left_g,omitempty" doc:"mass left in the cup, in g, 0 or more"`
	Weigh     bool                `json:"weigh,omitempty" doc:"instead of left_g: weigh the cup on the scale and subtract the empty cup"`
	Scale     string              `json:"scale,omitempty" doc:"with weigh: id of the scale; default: the one that the batch was mixed on, or the only one"`
	EmptyG    *float64            `json:"empty_g,omitempty" doc:"with weigh: weight of the empty cup in g, where the bench does not know it"`
	Exposure  *float64            `json:"exposure,omitempty" doc:"with kept: how open the cup is, 0 to 1; default 0.5, loosely covered"`
}

// Kept is the outcome in [ComesOff] of a batch that stays open.
const Kept = "kept"

// UnloadBatch takes a batch off its press, or lifts the stop that is left on the press after
// the batch went off.
type UnloadBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
}

// Where names the place of a batch: a press or a zone.
type Where struct {
	Press string `json:"press,omitempty" doc:"id of the press"`
	Zone  string `json:"zone,omitempty" doc:"id of the zone, instead of press"`
}

// MoveBatch puts a batch onto a press or into another zone.
type MoveBatch struct {
	Batch    string   `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Press    string   `json:"press,omitempty" doc:"id of the press to load it on"`
	Zone     string   `json:"zone,omitempty" doc:"id of the zone to put it in, instead of press"`
	Exposure *float64 `json:"exposure,omitempty" doc:"how open the cup is, 0 to 1: 1 open or in use, about 0.5 loosely covered; default: that of the press's cup, else 1"`
	Replace  bool     `json:"replace,omitempty" doc:"unload the batch that is on the press first"`
	Looked   bool     `json:"looked,omitempty" doc:"with a press: somebody has just looked at the batch and found it good; recorded as good, and needed while the batch has look_first"`
}

// SplitBatch pours a part of a batch into another cup.
type SplitBatch struct {
	Batch    string   `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Grams    float64  `json:"grams" minimum:"0.01" doc:"mass of the new part in g"`
	To       Where    `json:"to" doc:"where the new part goes"`
	Exposure *float64 `json:"exposure,omitempty" doc:"how open the new cup is, 0 to 1; default: that of the press's cup, else 1"`
	Replace  bool     `json:"replace,omitempty" doc:"unload the batch that is on the press first"`
	Looked   bool     `json:"looked,omitempty" doc:"with a press: somebody has just looked at the batch and found it good; recorded as good, and needed while the batch has look_first"`
}

// TopUpBatch pours another batch into this one.
type TopUpBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	From  string `json:"from" doc:"id of the batch that is poured in; it ends as used up"`
}

// ThinBatch adds thinner to a batch in use.
type ThinBatch struct {
	Batch    string  `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Grams    float64 `json:"grams" minimum:"0.01" doc:"mass of thinner in g"`
	Override string  `json:"override,omitempty" maxLength:"200" doc:"reason for exceeding the ink's range"`
	Can      string  `json:"can,omitempty" doc:"id of the can that it came from"`
}

// ReweighBatch records what the content of a cup in use weighs.
type ReweighBatch struct {
	Batch    string  `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	ContentG float64 `json:"content_g" minimum:"0" doc:"mass of the content now in g, without the cup"`
	TakenG   float64 `json:"taken_g,omitempty" minimum:"0" doc:"mass that was printed since the last weighing, in g; weigh when that is 0, for the best estimate"`
}

// TestBatch records a test of prints that were made with a batch.
type TestBatch struct {
	Batch  string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Kind   string `json:"kind" enum:"adhesion,rub,other" doc:"kind of test; adhesion for example by ISO 2409, Cross-cut test, or by ASTM D3359, Rating Adhesion by Tape Test"`
	Result string `json:"result" enum:"pass,fail" doc:"result of the test"`
	// PrintedAt is nil where the age of the mix is not known.
	PrintedAt *time.Time `json:"printed_at,omitempty" doc:"when the tested print was made; with it, an adhesion or rub test tells until which age the ink adheres, and the batch may be closed"`
	Corrects  uint64     `json:"corrects,omitempty" doc:"number of the event of an earlier test of the batch that was wrong and shall not count any more"`
}

// FlowTimeBatch records a flow time of a batch from a flow cup.
type FlowTimeBatch struct {
	Batch           string   `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Cup             string   `json:"cup" enum:"ford-1,ford-2,ford-3,ford-4,ford-5,iso-3,iso-4,iso-5,iso-6" doc:"flow cup: ford-1 to ford-5 (ASTM D1200), iso-3 to iso-6 (ISO 2431, orifice in mm)"`
	Seconds         float64  `json:"seconds" minimum:"1" maximum:"1000" doc:"flow time in s"`
	SecondRunS      *float64 `json:"second_run_s,omitempty" minimum:"1" maximum:"1000" doc:"flow time of a second run in s; without one that agrees within 5 % the flow time can only shorten the pot life"`
	InkTemperatureC *float64 `json:"ink_temperature_c,omitempty" minimum:"-20" maximum:"80" doc:"temperature of the ink in °C; default: that of the cup, as the air has it, less surely"`
	Corrects        uint64   `json:"corrects,omitempty" doc:"number of the event of an earlier flow time whose figures were wrong and shall not count any more"`
}

// GoodBatch records that a person looked at the batch and found it good.
type GoodBatch struct {
	Batch string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
}

// CloseBatch ends a batch.
type CloseBatch struct {
	Batch     string              `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Outcome   lifecycle.Outcome   `json:"outcome" enum:"used-up,discarded,went-off,not-known" doc:"how the batch ended: used-up, discarded, went-off or not-known"`
	StillGood lifecycle.StillGood `json:"still_good,omitempty" enum:"yes,no,unknown" doc:"whether it was still good; default unknown"`
	Seen      lifecycle.Seen      `json:"seen,omitempty" enum:"now,earlier" doc:"whether somebody saw it go off now, or it had gone off earlier; default earlier"`
	LeftG     *float64            `json:"left_g,omitempty" doc:"mass left in the cup, in g, 0 or more"`
	Weigh     bool                `json:"weigh,omitempty" doc:"instead of left_g: weigh the cup on the scale and subtract the empty cup"`
	Scale     string              `json:"scale,omitempty" doc:"with weigh: id of the scale; default: the one that the batch was mixed on, or the only one"`
	EmptyG    *float64            `json:"empty_g,omitempty" doc:"with weigh: weight of the empty cup in g, where the bench does not know it"`
}

func (LoadBatch) Verb() string { return "load" }

func (UnloadBatch) Verb() string { return "unload" }

func (GoodBatch) Verb() string { return "good" }

func (CloseBatch) Verb() string { return "close" }

func (MoveBatch) Verb() string { return "move" }

func (SplitBatch) Verb() string { return "split" }

func (TopUpBatch) Verb() string { return "top-up" }

func (ThinBatch) Verb() string { return "thin" }

func (ReweighBatch) Verb() string { return "reweigh" }

func (TestBatch) Verb() string { return "tests" }

func (FlowTimeBatch) Verb() string { return "flow-time" }

// Undo undoes a change of a few seconds ago.
type Undo struct {
	Batch string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Seq   uint64 `json:"seq" doc:"number of the event to undo, from the answer to the change"`
}

func (Undo) Verb() string { return "undo" }
