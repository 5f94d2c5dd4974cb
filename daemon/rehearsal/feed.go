package rehearsal

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// feed follows the bench's stream of server-sent events and stores the newest row of each kind
// and id.
type feed struct {
	api   *api
	story *story
	// changed receives a value after each row; capacity 1.
	changed chan struct{}

	mu      sync.Mutex // guards the fields below
	scale   scaleRow
	batches map[string]batch
	lights  map[string]lightRow // by press
	alarms  map[string]alarmRow // by name and subject

	said map[string]time.Time // the end of a batch that was printed last; only run's goroutine uses it
}

type scaleRow struct {
	WeightG *float64 `json:"weight_g"`
	Stable  bool     `json:"stable"`
}

type lightRow struct {
	Meaning string `json:"meaning"`
	Press   string `json:"press"`
	Batch   string `json:"batch"`
}

type alarmRow struct {
	Name    string `json:"name"`
	Subject string `json:"subject"`
	State   string `json:"state"`
	Text    string `json:"text"`
}

func newFeed(a *api, s *story) *feed {
	return &feed{
		api: a, story: s, changed: make(chan struct{}, 1),
		batches: map[string]batch{}, lights: map[string]lightRow{}, alarms: map[string]alarmRow{}, said: map[string]time.Time{},
	}
}

const reopenAfter = 200 * time.Millisecond

// run follows the stream until the context ends, and opens it again when it is lost.
func (f *feed) run(ctx context.Context) error {
	for {
		err := f.follow(ctx)
		if ctx.Err() != nil {
			return nil
		}
		f.story.tell("the stream of changes broke off and is opened again: %v", err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(reopenAfter):
		}
	}
}

// longestRow is the largest length of a line in the stream.
const longestRow = 1 << 20

func (f *feed) follow(ctx context.Context) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, f.api.base+"/api/v1/stream", nil)
	if err != nil {
		return err
	}
	answer, err := f.api.client.Do(request)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("stream: %s", answer.Status)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, longestRow)
	kind := ""
	for lines.Scan() {
		name, value, _ := strings.Cut(lines.Text(), ": ")
		switch name {
		case "event":
			kind = value
		case "data":
			if err := f.take(kind, []byte(value)); err != nil {
				return fmt.Errorf("stream: %s: %w", kind, err)
			}
		}
	}
	if err := lines.Err(); err != nil {
		return err
	}
	return fmt.Errorf("stream: it ended")
}

// take stores a row.
func (f *feed) take(kind string, data []byte) error {
	var err error
	switch kind {
	case "scale":
		err = keep(f, data, func(r scaleRow) { f.scale = r })
	case "light":
		err = keep(f, data, func(r lightRow) { f.lights[r.Press] = r })
	case "batch":
		err = keep(f, data, func(r batch) {
			f.batches[r.ID] = r
			if r.State == "closed" {
				delete(f.batches, r.ID)
			}
			f.tellEnd(r)
		})
	case "alarm":
		err = keep(f, data, func(r alarmRow) {
			key := r.Name + " " + r.Subject
			if _, known := f.alarms[key]; !known && r.State == "unacknowledged" {
				f.story.tell("alarm %s: %s", r.Name, r.Text)
			}
			f.alarms[key] = r
			if r.State == "normal" {
				delete(f.alarms, key)
			}
		})
	}
	select {
	case f.changed <- struct{}{}:
	default:
	}
	return err
}

func keep[R any](f *feed, data []byte, how func(R)) error {
	var row R
	if err := json.Unmarshal(data, &row); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	how(row)
	return nil
}

// worthTelling returns by how much an end must move before it is printed again: a sixth of the
// remaining time, and some minutes.
const worthTelling = 12 * time.Minute

// tellEnd prints until when a loaded batch will be good, and prints it again when that has
// moved.
func (f *feed) tellEnd(b batch) {
	if b.EndsAt == nil || b.Press == nil || b.State != "open" {
		return
	}
	end, told := b.EndsAt.Expected, f.said[b.ID]
	left := end.Sub(f.story.clock.Now().Wall)
	if left < 0 || !told.IsZero() && end.Sub(told).Abs() < max(worthTelling, left/6) {
		return
	}
	moved := ""
	switch {
	case told.IsZero():
	case end.Before(told):
		moved = ": " + inWords(told.Sub(end)) + " sooner than last said"
	default:
		moved = ": " + inWords(end.Sub(told)) + " later than last said"
	}
	f.said[b.ID] = end
	f.story.tell("batch %s of %s ends at about %s, between %s and %s%s", b.ID, b.Ink,
		clockTime(end), clockTime(b.EndsAt.Low), clockTime(b.EndsAt.High), moved)
}

// weight returns what the scale shows. ok is false while the weight moves.
func (f *feed) weight() (grams float64, still bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.scale.WeightG == nil {
		return 0, false
	}
	return *f.scale.WeightG, f.scale.Stable
}

// light returns the meaning of a press's light, and the batch that it is about.
func (f *feed) light(press string) (meaning, batch string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.lights[press].Meaning, f.lights[press].Batch
}

// find returns an open batch that meets a condition.
func (f *feed) find(is func(batch) bool) (batch, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, id := range slices.Sorted(maps.Keys(f.batches)) {
		if is(f.batches[id]) {
			return f.batches[id], true
		}
	}
	return batch{}, false
}

// alarmsOf returns the unacknowledged alarms about a subject.
func (f *feed) alarmsOf(subject string) (names []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, a := range f.alarms {
		if a.Subject == subject && a.State == "unacknowledged" {
			names = append(names, a.Name)
		}
	}
	slices.Sort(names)
	return names
}
