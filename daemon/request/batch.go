package request

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
	Grams    float64  `json:"grams" minimum:"0.01"`
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
	Grams    float64 `json:"grams" minimum:"0.01"`
	Override string  `json:"override,omitempty" maxLength:"200" doc:"the reason to go beyond the ink's range"`
	Can      string  `json:"can,omitempty" doc:"the can it came from"`
}

// ReweighBatch says what a cup in use weighs now.
type ReweighBatch struct {
	Batch    string  `json:"batch,omitempty" hidden:"true"`
	ContentG float64 `json:"content_g" minimum:"0" doc:"what is in the cup now, without the cup"`
	TakenG   float64 `json:"taken_g,omitempty" minimum:"0" doc:"what went out on prints since it was weighed last; best weighed when that is nothing"`
}

// TestBatch logs a test of what was printed with a batch.
type TestBatch struct {
	Batch  string `json:"batch,omitempty" hidden:"true"`
	Kind   string `json:"kind" enum:"adhesion,rub,other"`
	Result string `json:"result" enum:"pass,fail"`
}

// GoodBatch says that somebody looked, and the batch is good.
type GoodBatch struct {
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

// Undo takes back what was done a moment ago.
type Undo struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
	Seq   uint64 `json:"seq" doc:"the number of the event to take back, which its answer carried"`
}

func (Undo) Verb() string { return "undo" }
