package request

import (
	"time"

	"potlifed/model/mix"
)

// TakeUp takes up a mix that was set aside.
type TakeUp struct {
	Batch    string `json:"batch,omitempty" hidden:"true"`
	Override string `json:"override,omitempty" maxLength:"200" doc:"the reason to go on although the weight is another than the cup should have"`
}

func (TakeUp) Verb() string { return "take-up" }

// StartMix starts a guided mix.
type StartMix struct {
	Scale       string   `json:"scale,omitempty" doc:"the scale it is weighed on; may be left out where there is one"`
	Ink         string   `json:"ink"`
	Press       string   `json:"press,omitempty" doc:"the press it is meant for; its cup is used"`
	Cup         string   `json:"cup,omitempty" doc:"in place of press"`
	ColourClass string   `json:"colour_class,omitempty" enum:"dark,light,heavy-light" doc:"default dark"`
	Artwork     string   `json:"artwork,omitempty" enum:"fine-detail,normal,large-solid" doc:"default normal"`
	InkG        *float64 `json:"ink_g,omitempty" minimum:"0.01" doc:"default: the cup's minimum"`
	ThinnerPct  *float64 `json:"thinner_pct,omitempty" doc:"of ink and hardener together; default from colour class and artwork"`
	// ThinnerReason is kept with the batch.
	ThinnerReason string `json:"thinner_reason,omitempty" maxLength:"200" doc:"why thinner_pct is not the usual start"`
}

// RecordMix records a batch that was mixed without the guide.
type RecordMix struct {
	Ink        string          `json:"ink"`
	MixedAt    time.Time       `json:"mixed_at" doc:"when the hardener went in"`
	Cup        string          `json:"cup,omitempty"`
	Zone       string          `json:"zone,omitempty" doc:"where it stands; default: the first scale's zone"`
	Components []mix.Component `json:"components" maxItems:"100"`
}

// ConfirmStep confirms the step that it names.
type ConfirmStep struct {
	Batch    string `json:"batch,omitempty" hidden:"true"`
	Step     string `json:"step"`
	Override string `json:"override,omitempty" maxLength:"200" doc:"the reason to go on out of tolerance"`
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

// AbandonMix gives a mix up.
type AbandonMix struct {
	Batch string `json:"batch,omitempty" hidden:"true"`
}

func (StartMix) Verb() string { return "mix" }

func (RecordMix) Verb() string { return "record" }

func (ConfirmStep) Verb() string { return "confirm" }

func (CorrectPour) Verb() string { return "correct" }

func (AbandonMix) Verb() string { return "abandon" }
