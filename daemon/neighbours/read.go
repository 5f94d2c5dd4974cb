package neighbours

import (
	"encoding/json"
	"regexp"
	"slices"
	"time"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

const (
	maxPayload = 16 << 10 // bytes; a batch has under one thousand
	maxText    = 200      // characters of a text for people
	// maxLife bounds the time from now to an end of pot life, in either direction.
	maxLife = 30 * 24 * time.Hour
)

var idShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

// readLight returns the state in a light's payload, false where it is not one. Whatever a
// sender of another version sends, the result has one of the six meanings and is bounded.
func readLight(payload []byte, mono time.Duration) (*lightState, bool) {
	var v struct {
		Time       time.Time     `json:"time"`
		ValidUntil time.Time     `json:"valid_until"`
		Meaning    light.Meaning `json:"meaning"`
		Flashing   bool          `json:"flashing"`
		Cause      light.Cause   `json:"cause"`
		Reason     string        `json:"reason"`
		Press      string        `json:"press"`
		Batch      string        `json:"batch"`
	}
	if len(payload) > maxPayload || json.Unmarshal(payload, &v) != nil {
		return nil, false
	}
	if v.Press != "" && !idShape.MatchString(v.Press) || v.Batch != "" && !idShape.MatchString(v.Batch) {
		return nil, false
	}
	if !slices.Contains(light.Meanings(), v.Meaning) {
		v.Meaning, v.Cause, v.Reason = light.Unknown, "", "its meaning is unknown to this bench"
	}
	valid := min(max(v.ValidUntil.Sub(v.Time), 0), maxLightFor)
	return &lightState{
		received: received{at: mono, until: mono + valid, sentAt: v.Time},
		press:    v.Press, batch: v.Batch, meaning: v.Meaning, cause: light.Cause(excerpt.Of(string(v.Cause), maxText)), reason: excerpt.Of(v.Reason, maxText),
		flashing: v.Flashing || v.Meaning.AlwaysFlashes(),
	}, true
}

// readBatch returns the state in a batch's payload, false where it is not one. Its ends are
// relative to its own time, since the sender's clock may differ.
func readBatch(id string, payload []byte, mono time.Duration) (*batchState, bool) {
	var v view.BatchState
	if len(payload) > maxPayload || json.Unmarshal(payload, &v) != nil {
		return nil, false
	}
	row := Batch{ID: v.ID, Ink: excerpt.Of(v.Ink, maxText), Zone: excerpt.Of(v.Zone, maxText), State: v.State, Quality: v.Quality, Why: excerpt.Of(v.Why, maxText)}
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
	b := &batchState{received: received{at: mono, until: mono + batchFor, sentAt: v.Time}, row: row}
	if v.EndsAt != nil {
		left := ends{v.EndsAt.Expected.Sub(v.Time), v.EndsAt.Low.Sub(v.Time), v.EndsAt.High.Sub(v.Time)}
		if left.low > left.expected || left.expected > left.high || left.low < -maxLife || left.high > maxLife {
			return nil, false
		}
		b.ends = &ends{mono + left.expected, mono + left.low, mono + left.high}
	}
	return b, true
}
