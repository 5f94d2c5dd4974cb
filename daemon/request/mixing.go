package request

import (
	"time"

	"potlifed/model/mix"
)

// TakeUp continues a mix that was set aside.
type TakeUp struct {
	Batch    string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Override string `json:"override,omitempty" maxLength:"200" doc:"reason for continuing although the cup does not have the expected weight"`
}

func (TakeUp) Verb() string { return "take-up" }

// StartMix starts a guided mix.
type StartMix struct {
	Scale         string   `json:"scale,omitempty" doc:"id of the scale; may be left out where there is only one"`
	Ink           string   `json:"ink" doc:"id of the ink"`
	Press         string   `json:"press,omitempty" doc:"id of the press that it is meant for; its cup is used"`
	Cup           string   `json:"cup,omitempty" doc:"id of the kind of cup, instead of press"`
	ColourClass   string   `json:"colour_class,omitempty" enum:"dark,light,heavy-light" doc:"colour class, from which the thinner share starts; default dark"`
	Artwork       string   `json:"artwork,omitempty" enum:"fine-detail,normal,large-solid" doc:"kind of artwork, from which the thinner share starts; default normal"`
	InkG          *float64 `json:"ink_g,omitempty" minimum:"0.01" doc:"mass of ink in g; default: the cup's minimum"`
	ThinnerPct    *float64 `json:"thinner_pct,omitempty" doc:"thinner in % of ink and hardener together; default: the usual start for colour class and artwork"`
	ThinnerReason string   `json:"thinner_reason,omitempty" maxLength:"200" doc:"why thinner_pct is not the usual start"`
}

// RecordMix records a batch that was mixed without the guide.
type RecordMix struct {
	Ink        string          `json:"ink" doc:"id of the ink"`
	MixedAt    time.Time       `json:"mixed_at" doc:"when the hardener was added"`
	Press      string          `json:"press,omitempty" doc:"id of the press that it is meant for; its cup is used"`
	Cup        string          `json:"cup,omitempty" doc:"id of the kind of cup, instead of press"`
	Colour     string          `json:"colour_class,omitempty" enum:"dark,light,heavy-light" doc:"colour class; left out, it is not known"`
	Zone       string          `json:"zone,omitempty" doc:"id of the zone that it is in; default: that of the first scale"`
	Components []mix.Component `json:"components" maxItems:"100" doc:"what was poured"`
}

// ConfirmStep confirms the step that it names.
type ConfirmStep struct {
	Batch    string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Step     string `json:"step" doc:"the step that is confirmed; the request is refused when the mix waits at another. pour-over is confirmed with the new cup on the scale: empty, where its weight is not known, and then with all of the mix"`
	Override string `json:"override,omitempty" maxLength:"200" doc:"reason for continuing out of tolerance"`
	Part     string `json:"part,omitempty" enum:"ink,hardener,thinner" doc:"what was poured, if not what the first correction asks for"`
	Can      string `json:"can,omitempty" doc:"id of the can that it came from; left out, the one in use, where cans are registered"`
	// CanOverride is apart from Override: a reason for the can is none for the ratio.
	CanOverride string `json:"can_override,omitempty" maxLength:"200" doc:"reason for using a hardener that is past its last day, or may be; override is accepted too"`
	Tared       *bool  `json:"tared,omitempty" doc:"answer to the question whether the scale was tared (true) or the cup lifted (false)"`
}

// CorrectPour re-labels or undoes a pour, says which can or material it really came from, or says what was poured
// that is not taken yet.
type CorrectPour struct {
	Batch    string  `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Pour     *uint64 `json:"pour,omitempty" doc:"number of the pour, its seq in the batch's pours; left out, the last one, which is refused while something that is not taken is in the cup"`
	NotTaken bool    `json:"not_taken,omitempty" doc:"instead of pour: what is in the cup and not taken yet; it is recorded as part at once"`
	Part     string  `json:"part,omitempty" enum:"ink,hardener,thinner" doc:"what was really poured"`
	Tared    *bool   `json:"tared,omitempty" doc:"with not_taken: answer to the question whether the scale was tared (true) or the cup lifted (false)"`
	Can      string  `json:"can,omitempty" maxLength:"64" doc:"id of the can that it really came from: another lot of the same material, or another material, which tells the part too"`
	Material string  `json:"material,omitempty" maxLength:"64" doc:"id of the ink, hardener or thinner that it really was, where no can is registered; with part, if that changes. One that the mix's ink does not go with contaminates the mix: confirm is refused until override says to use it"`
	Override string  `json:"override,omitempty" maxLength:"200" doc:"reason for using the mix although a material that its ink does not go with is in it; alone, or with that material"`
	Undo     bool    `json:"undo,omitempty" doc:"remove the pour from the record; it stays in the cup, counts as not taken, and must be named before anything is confirmed"`
}

// PourMixOver pours a mix that is being made into another cup.
type PourMixOver struct {
	Batch  string   `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
	Cup    string   `json:"cup,omitempty" maxLength:"64" doc:"id of the kind of the new cup"`
	EmptyG *float64 `json:"empty_g,omitempty" minimum:"3" maximum:"100000" doc:"weight of the new cup in g, weighed on a scale that showed zero; left out, that of its kind. Where that is not known, the first confirmation of pour-over weighs the empty cup"`
	Undo   bool     `json:"undo,omitempty" doc:"instead of cup: the mix stays in its old cup, which stands on the scale as it did"`
}

// AbandonMix ends a mix that is not finished.
type AbandonMix struct {
	Batch string `json:"batch,omitempty" hidden:"true" doc:"id of the batch"`
}

func (StartMix) Verb() string { return "mix" }

func (RecordMix) Verb() string { return "record" }

func (ConfirmStep) Verb() string { return "confirm" }

func (CorrectPour) Verb() string { return "correct" }

func (PourMixOver) Verb() string { return "pour-over" }

func (AbandonMix) Verb() string { return "abandon" }
