package mqtt

import (
	"testing"
	"time"
)

func TestDuplicateInstance(t *testing.T) {
	now := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	mine, another := []byte(`{"instance":"one"}`), []byte(`{"instance":"two"}`)
	type sign struct {
		after    time.Duration
		payload  []byte
		retained bool
	}
	for _, c := range []struct {
		name      string
		published bool
		signs     []sign
		look      time.Duration // after the last sign
		want      string
	}{
		{"silence", true, nil, 0, ""},
		{"our own echo", true, []sign{{0, mine, false}}, 0, ""},
		{"a live one", true, []sign{{0, another, false}}, 0, "two"},
		{"a live one, long silent", true, []sign{{0, another, false}}, 91 * time.Second, ""},
		{"rubbish", true, []sign{{0, []byte(`[`), false}, {0, []byte(`{}`), false}}, 0, ""},
		{"a predecessor", false, []sign{{0, another, true}, {time.Second, another, true}}, 0, ""},
		{"a broker with an old store", true, []sign{{0, another, true}}, 0, ""},
		{"a broker with an old store, twice", true, []sign{{0, another, true}, {2 * time.Minute, another, true}}, 0, ""},
		{"two with one client id", true, []sign{{0, another, true}, {5 * time.Second, another, true}}, 0, "two"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &duplicateInstance{own: "one", published: c.published}
			at := now
			for _, s := range c.signs {
				at = at.Add(s.after)
				d.received(s.payload, s.retained, at)
			}
			if got := d.alive(at.Add(c.look)); got != c.want {
				t.Errorf("other instance %q, want %q", got, c.want)
			}
		})
	}
}

// Another instance is answered at once, and not for each of its messages.
func TestDuplicateInstanceIsAnswered(t *testing.T) {
	now := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	d := &duplicateInstance{own: "one"}
	if d.answerDue(now) {
		t.Error("answers nobody")
	}
	d.received([]byte(`{"instance":"two"}`), false, now)
	if !d.answerDue(now.Add(time.Millisecond)) {
		t.Error("does not answer")
	}
	d.received([]byte(`{"instance":"two"}`), false, now.Add(time.Second))
	if d.answerDue(now.Add(time.Second)) {
		t.Error("answers an answer: two would do so for ever")
	}
	d.received([]byte(`{"instance":"two"}`), false, now.Add(30*time.Second))
	if !d.answerDue(now.Add(30 * time.Second)) {
		t.Error("does not answer half a minute later")
	}
}
