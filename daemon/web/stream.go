package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/neighbours"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
)

// pace is how a stream keeps time.
type pace struct {
	heartbeat   time.Duration // between comment lines, by which a reader tells quiet from dead
	apart       time.Duration // at least, between two bursts of all that is new
	weight      time.Duration // at least, between two of what scales show: a pour is stopped by it
	writeWithin time.Duration // else the reader is given up
}

// The bounds of heartbeat_s: a page beside a scale must know within seconds that its weight is old,
// and to all others a comment line four times a minute is enough.
const (
	leastHeartbeatS = 1
	usualHeartbeatS = 15
)

// heartbeatOf reads heartbeat_s from a request; false when it is not a whole number within bounds.
func heartbeatOf(r *http.Request, usual time.Duration) (time.Duration, bool) {
	text := r.URL.Query().Get("heartbeat_s")
	if text == "" {
		return usual, true
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < leastHeartbeatS || n > usualHeartbeatS {
		return 0, false
	}
	return time.Duration(n) * time.Second, true
}

var usualPace = pace{heartbeat: usualHeartbeatS * time.Second, apart: 100 * time.Millisecond, weight: 40 * time.Millisecond, writeWithin: 10 * time.Second}

// stream sends server-sent events (WHATWG HTML, section 9.2): first every row there
// is, then what changes. Nothing is kept for a slow reader: when it is ready for
// more, it gets what differs in the newest snapshot from what it had, and one that
// takes nothing for long is let go.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	// The server notices that a reader has left by reading from its connection, which it
	// does only once the body has been read.
	if r.ContentLength != 0 {
		s.refuse(w, problem(http.StatusBadRequest, "", "a request for the stream has no body"))
		return
	}
	every, ok := heartbeatOf(r, s.pace.heartbeat)
	if !ok {
		s.refuse(w, problem(http.StatusBadRequest, "", fmt.Sprintf("heartbeat_s %q is not a whole number from %d to %d", r.URL.Query().Get("heartbeat_s"), leastHeartbeatS, usualHeartbeatS)))
		return
	}
	give, ok := s.streams.Take(r.RemoteAddr)
	if !ok {
		s.refuse(w, problem(http.StatusServiceUnavailable, "", "too many streams are open").Saying("too-many-pages"))
		return
	}
	defer give()
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store, no-transform")
	h.Set("X-Accel-Buffering", "no") // a proxy in between would hold events back
	if r.Method == http.MethodHead {
		return
	}
	s.follow(r.Context(), eventWriter{w, http.NewResponseController(w), s.pace.writeWithin}, every)
}

// follow sends what changes, and a heartbeat, until the context or the server ends or the reader takes no more.
func (s *Server) follow(ctx context.Context, out eventWriter, every time.Duration) {
	signal, stop := s.bench.Watch()
	defer stop()
	heartbeat := time.NewTicker(every)
	defer heartbeat.Stop()
	pause := time.NewTimer(0)
	defer pause.Stop()
	had := &cursor{}
	if out.send([]byte(": open\n\n")) != nil { // the headers, even where there is no row yet
		return
	}
	due, paused := true, true // the first burst goes out when the timer of no length fires
	var all time.Time         // when the last burst of all went out
	for {
		if due && !paused {
			burst, wait := []byte(nil), s.pace.weight
			if since := time.Since(all); since >= s.pace.apart {
				burst, due, all = s.feed.burst(had, s.bench.Snapshot(), s.settings.Neighbours()), false, time.Now()
			} else {
				// The rest stays due. A weight that comes meanwhile must not wait for it.
				burst, wait = s.feed.weights(had, s.bench.Snapshot()), min(wait, s.pace.apart-since)
			}
			if len(burst) > 0 && out.send(burst) != nil {
				return
			}
			paused = true
			pause.Reset(wait)
		}
		select {
		case <-ctx.Done():
			return
		case <-s.stopping:
			return
		case <-signal:
			due = true
		case <-pause.C:
			paused = false
		case <-heartbeat.C:
			if out.send([]byte(": still here\n\n")) != nil {
				return
			}
		}
	}
}

// eventWriter writes events to a client that may have stopped reading.
type eventWriter struct {
	w      http.ResponseWriter
	rc     *http.ResponseController
	within time.Duration
}

// send writes and flushes, within a deadline of its own. The deadline is lifted
// afterwards: on HTTP/2 one that passes while nothing is written ends the stream.
func (w eventWriter) send(b []byte) error {
	if err := w.rc.SetWriteDeadline(time.Now().Add(w.within)); err != nil {
		return err
	}
	if _, err := w.w.Write(b); err != nil {
		return err
	}
	if err := w.rc.Flush(); err != nil {
		return err
	}
	return w.rc.SetWriteDeadline(time.Time{})
}

// follower is what was sent of each row last.
type follower struct {
	air     seen[view.Air]
	scales  seen[view.Scale]
	batches seen[view.Batch]
	lights  seen[view.Light]
	alarms  seen[view.Alarm]
	others  seen[neighbours.Bench]
}

func newFollower() *follower {
	return &follower{
		seen[view.Air]{}, seen[view.Scale]{}, seen[view.Batch]{}, seen[view.Light]{}, seen[view.Alarm]{},
		seen[neighbours.Bench]{},
	}
}

// over is the last that is said of a row that is there no more.
type over struct {
	Time    time.Time `json:"time" doc:"time of the snapshot"`
	Seq     uint64    `json:"seq" doc:"number of the newest event that it includes"`
	ID      string    `json:"id,omitempty" doc:"id of the batch that ended"`
	Name    string    `json:"name,omitempty" doc:"name of the alarm that ended"`
	Subject string    `json:"subject,omitempty" doc:"id of the thing that the alarm was about"`
	State   string    `json:"state" doc:"closed for a batch, normal for an alarm"`
}

// burst returns the events that bring the reader to the given snapshot.
func (f *follower) burst(n *view.Snapshot, others []neighbours.Bench) []event {
	return slices.Concat(f.zones(n), f.weights(n), f.rows(n, others))
}

// zones returns the events of the air.
func (f *follower) zones(n *view.Snapshot) []event {
	zones, _ := airKind.news(f.air, n.Air, n.Mono)
	return events(nil, airKind, zones)
}

// rows returns the events of all rows but the air's and the scales'.
func (f *follower) rows(n *view.Snapshot, others []neighbours.Bench) (out []event) {
	batches, ended := batchKind.news(f.batches, n.Batches, n.Mono)
	for i := range batches {
		batches[i] = batchRow(batches[i])
	}
	out = events(out, batchKind, batches)
	for _, id := range slices.Sorted(slices.Values(ended)) {
		if b, ok := findBatch(n, id); ok {
			out = ends(out, batchKind.event, id, b)
		} else {
			out = ends(out, batchKind.event, id, over{Time: n.At, Seq: n.Seq, ID: id, State: string(lifecycle.Closed)})
		}
	}

	lights, _ := lightKind.news(f.lights, n.Lights, n.Mono)
	for i := range lights {
		lights[i] = lightRow(lights[i], n.At)
	}
	out = events(out, lightKind, lights)

	alarms, cleared := alarmKind.news(f.alarms, n.Alarms, n.Mono)
	out = events(out, alarmKind, alarms)
	for _, key := range slices.Sorted(slices.Values(cleared)) {
		name, subject, _ := strings.Cut(key, "/")
		out = ends(out, alarmKind.event, key, over{Time: n.At, Seq: n.Seq, Name: name, Subject: subject, State: "normal"})
	}

	benches, _ := neighbourKind.news(f.others, others, n.Mono)
	return events(out, neighbourKind, benches)
}

// weights returns what the scales show, if that is news.
func (f *follower) weights(n *view.Snapshot) []event {
	scales, _ := scaleKind.news(f.scales, n.Scales, n.Mono)
	return events(nil, scaleKind, scales)
}

// events appends one event a row. A row that cannot be written, such as one with a figure that is no
// number, is left out: the others still have their readers.
func events[V any](out []event, of kind[V], rows []V) []event {
	for _, row := range rows {
		if data, err := json.Marshal(row); err == nil {
			out = append(out, event{key: of.event + "/" + of.key(row), data: fmt.Appendf(nil, "event: %s\ndata: %s\n\n", of.event, data)})
		}
	}
	return out
}

// ends appends the last that is said of a row.
func ends[V any](out []event, name, key string, row V) []event {
	data, err := json.Marshal(row)
	if err != nil {
		return out
	}
	return append(out, event{key: name + "/" + key, data: fmt.Appendf(nil, "event: %s\ndata: %s\n\n", name, data), gone: true})
}

func describeStream(api huma.API) {
	op := &huma.Operation{
		OperationID: "stream", Method: http.MethodGet, Path: base + "stream",
		Summary: "Server-sent events",
		Description: "First all rows, then what changes, as events named air, scale, batch, light, alarm and neighbour, each with the row of the list as its data. " +
			"A batch that has ended is sent once more with the state closed, an alarm with the state normal. A comment line comes every 15 seconds, or as often as heartbeat_s says.",
		Parameters: []*huma.Param{{
			Name: "heartbeat_s", In: "query", Description: "seconds between two comment lines",
			Schema: &huma.Schema{Type: huma.TypeInteger, Minimum: new(float64(leastHeartbeatS)), Maximum: new(float64(usualHeartbeatS)), Default: usualHeartbeatS},
		}},
		Responses: map[string]*huma.Response{"200": {Description: "Events without end", Content: map[string]*huma.MediaType{
			"text/event-stream": {Schema: streamSchema(api.OpenAPI().Components.Schemas)},
		}}},
	}
	mayAnswer(op, http.StatusBadRequest) // a body, or a heartbeat out of bounds
	mayAnswer(op, http.StatusServiceUnavailable)
	api.OpenAPI().AddOperation(op)
}
