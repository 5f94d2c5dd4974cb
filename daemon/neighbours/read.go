package neighbours

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

const (
	mostPayload = 16 << 10 // bytes; a batch has under one thousand
	mostText    = 200      // bytes of what a person reads
	// mostLife is the longest that a batch may be said to last from now, or to be over.
	mostLife = 30 * 24 * time.Hour
)

var idShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

// readLight reads a light's payload. Whatever a sender of another version may say, the
// result means one of the six meanings and is bounded.
func readLight(payload []byte, mono time.Duration) (*lamp, bool) {
	var v struct {
		Time       time.Time     `json:"time"`
		ValidUntil time.Time     `json:"valid_until"`
		Meaning    light.Meaning `json:"meaning"`
		Flashing   bool          `json:"flashing"`
		Reason     string        `json:"reason"`
		Press      string        `json:"press"`
		Batch      string        `json:"batch"`
	}
	if len(payload) > mostPayload || json.Unmarshal(payload, &v) != nil {
		return nil, false
	}
	if v.Press != "" && !idShape.MatchString(v.Press) || v.Batch != "" && !idShape.MatchString(v.Batch) {
		return nil, false
	}
	if !slices.Contains(light.Meanings(), v.Meaning) {
		v.Meaning, v.Reason = light.Unknown, "it says something that this bench does not understand"
	}
	valid := min(max(v.ValidUntil.Sub(v.Time), 0), lightFor)
	return &lamp{
		received: received{at: mono, until: mono + valid, said: v.Time},
		press:    v.Press, batch: v.Batch, meaning: v.Meaning, reason: shortened(v.Reason),
		flashing: v.Flashing || v.Meaning.AlwaysFlashes(),
	}, true
}

// readBatch reads a batch's payload. Its ends are taken relative to its own time, since
// the sender's clock may be another.
func readBatch(id string, payload []byte, mono time.Duration) (*batch, bool) {
	var v view.BatchState
	if len(payload) > mostPayload || json.Unmarshal(payload, &v) != nil {
		return nil, false
	}
	row := Batch{ID: v.ID, Ink: shortened(v.Ink), Zone: shortened(v.Zone), State: v.State, Quality: v.Quality, Why: shortened(v.Why)}
	if v.Press != nil {
		row.Press = *v.Press
	}
	known := []lifecycle.Phase{lifecycle.Mixing, lifecycle.Resting, lifecycle.Open}
	if v.ID != id || row.Press != "" && !idShape.MatchString(row.Press) || !slices.Contains(known, v.State) {
		return nil, false
	}
	if row.Quality != view.QualityGood && row.Quality != view.QualityUncertain {
		row.Quality = view.QualityBad
	}
	b := &batch{received: received{at: mono, until: mono + batchFor, said: v.Time}, row: row}
	if v.EndsAt != nil {
		left := ends{v.EndsAt.Expected.Sub(v.Time), v.EndsAt.Low.Sub(v.Time), v.EndsAt.High.Sub(v.Time)}
		if left.low > left.expected || left.expected > left.high || left.low < -mostLife || left.high > mostLife {
			return nil, false
		}
		b.ends = &ends{mono + left.expected, mono + left.low, mono + left.high}
	}
	return b, true
}

func shortened(s string) string {
	if len(s) > mostText {
		s = s[:mostText] + "…"
	}
	return strings.ToValidUTF8(s, "")
}
