package web

import (
	"bufio"
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
)

// listener reads a stream of events.
type listener struct {
	t      *testing.T
	lines  *bufio.Scanner
	cancel context.CancelFunc
	header http.Header
}

// listen opens the stream. Whatever takes long ends with the test's own time-out.
func listen(t *testing.T, address string) *listener {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/api/v1/stream", nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := client(t, nil).Do(r)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	t.Cleanup(func() { cancel(); response.Body.Close() })
	if response.StatusCode != http.StatusOK {
		t.Fatalf("status %d", response.StatusCode)
	}
	lines := bufio.NewScanner(response.Body)
	lines.Buffer(nil, 1<<22)
	return &listener{t, lines, cancel, response.Header}
}

// event is the next one, or the next comment.
func (l *listener) event() (name string, data map[string]any) {
	l.t.Helper()
	for l.lines.Scan() {
		switch line := l.lines.Text(); {
		case strings.HasPrefix(line, ": "):
			return line, nil
		case strings.HasPrefix(line, "event: "):
			name = strings.TrimPrefix(line, "event: ")
		case strings.HasPrefix(line, "data: "):
			if err := json.Unmarshal([]byte(strings.TrimPrefix(line, "data: ")), &data); err != nil {
				l.t.Fatalf("%s: %v", line, err)
			}
		case line == "" && data != nil:
			return name, data
		}
	}
	l.t.Fatalf("the stream ended: %v", l.lines.Err())
	return "", nil
}

// want checks the next event's name and returns its data.
func (l *listener) want(name string) map[string]any {
	l.t.Helper()
	got, data := l.event()
	if got != name {
		l.t.Fatalf("event %q %v, want %q", got, data, name)
	}
	return data
}

// all reads the first burst.
func (l *listener) all() {
	l.t.Helper()
	for _, name := range []string{": open", "air", "scale", "batch", "batch", "light", "alarm"} {
		l.want(name)
	}
}

// hasten keeps tests from waiting; it must come before the first request.
func hasten(s *Server) *Server {
	s.pace = pace{heartbeat: time.Hour, apart: time.Millisecond, writeWithin: 5 * time.Second}
	return s
}

func TestStream(t *testing.T) {
	bench := newStand()
	address, stop := serve(t, hasten(newServer(t, bench)))
	l := listen(t, address)
	if l.header.Get("Content-Type") != "text/event-stream" || l.header.Get("X-Accel-Buffering") != "no" {
		t.Errorf("header %v", l.header)
	}
	l.want(": open")
	if v := l.want("air"); v["zone"] != "bench" || v["temperature_c"] != 22.5 {
		t.Errorf("air %v", v)
	}
	if v := l.want("scale"); v["weight_g"] != 42.0 || v["pouring"] == nil {
		t.Errorf("scale %v", v)
	}
	if v := l.want("batch"); v["id"] != "0612-1" || v["spent"] != 0.15 {
		t.Errorf("batch %v", v)
	}
	if v := l.want("batch"); v["step"] != "ink" || v["corrections"] == nil {
		t.Errorf("batch %v", v)
	}
	if v := l.want("light"); v["meaning"] != "in-order" || v["valid_until"] != "2026-06-12T09:31:30Z" {
		t.Errorf("light %v", v)
	}
	if v := l.want("alarm"); v["name"] != "sensor-stale" || v["state"] != "unacknowledged" {
		t.Errorf("alarm %v", v)
	}

	// What did not change is not sent again: the next event is that of the change.
	bench.show(func(n *view.Snapshot) { n.Batches[0].AgeS, n.Seq = ptr(3601.0), 43 })
	bench.show(func(n *view.Snapshot) {
		scale := n.Scales[0]
		scale.WeightG, scale.Time = ptr(43.0), n.At
		n.Scales = []view.Scale{scale}
	})
	if v := l.want("scale"); v["weight_g"] != 43.0 {
		t.Errorf("scale %v", v)
	}
	// A batch that ended is sent once more as closed, with what is known of its end.
	bench.show(func(n *view.Snapshot) {
		closed := openBatch("0612-1")
		closed.State, closed.Outcome = lifecycle.Closed, "used-up"
		n.Batches, n.Closed = n.Batches[1:], []view.Batch{closed}
	})
	if v := l.want("batch"); v["id"] != "0612-1" || v["state"] != "closed" || v["outcome"] != "used-up" {
		t.Errorf("batch %v", v)
	}
	// Even one that the snapshot no longer knows.
	bench.show(func(n *view.Snapshot) { n.Batches, n.Closed = nil, nil })
	if v := l.want("batch"); v["id"] != "0612-2" || v["state"] != "closed" {
		t.Errorf("batch %v", v)
	}
	bench.show(func(n *view.Snapshot) { n.Alarms = nil })
	if v := l.want("alarm"); v["name"] != "sensor-stale" || v["subject"] != "floor-air" || v["state"] != "normal" {
		t.Errorf("alarm %v", v)
	}
	// And one that is back is told again.
	bench.show(func(n *view.Snapshot) { n.Alarms = shop().Alarms })
	if v := l.want("alarm"); v["state"] != "unacknowledged" {
		t.Errorf("alarm %v", v)
	}

	// The server's end is the stream's end, and does not wait for the reader.
	stop()
	if l.lines.Scan() {
		t.Errorf("after the end: %q", l.lines.Text())
	}
	if n := bench.watched(); n != 0 {
		t.Errorf("%d watchers are left", n)
	}
}

func TestStreamHeartbeat(t *testing.T) {
	s := hasten(newServer(t, newStand()))
	s.pace.heartbeat = 20 * time.Millisecond
	address, _ := serve(t, s)
	l := listen(t, address)
	l.all()
	for range 3 {
		l.want(": still here")
	}
}

// TestStreamHeartbeatOnRequest: a reader may ask for a heartbeat of its own, within bounds.
func TestStreamHeartbeatOnRequest(t *testing.T) {
	address, _ := serve(t, hasten(newServer(t, newStand()))) // its own is an hour
	for text, status := range map[string]int{"1": 200, "15": 200, "0": 400, "16": 400, "-1": 400, "1.5": 400, "soon": 400} {
		r, err := client(t, nil).Get("http://" + address + "/api/v1/stream?heartbeat_s=" + text)
		if err != nil {
			t.Fatal(err)
		}
		if r.StatusCode != status {
			t.Errorf("heartbeat_s=%s: %s, want %d", text, r.Status, status)
		}
		if text == "1" {
			lines := bufio.NewScanner(r.Body)
			for lines.Scan() && lines.Text() != ": still here" {
			}
			if err := lines.Err(); err != nil {
				t.Error(err)
			}
		}
		r.Body.Close()
	}
}

// TestStreamReaderLeaves: a reader that goes leaves nothing behind.
func TestStreamReaderLeaves(t *testing.T) {
	bench := newStand()
	s := hasten(newServer(t, bench))
	address, _ := serve(t, s)
	for range 3 {
		l := listen(t, address)
		l.all()
		l.cancel()
	}
	waitFor(t, "the watchers to be gone", func() bool { return bench.watched() == 0 && s.streams.Len() == 0 })
}

// TestStreamSlowReader: one that takes nothing is let go, and holds up neither the
// bench nor another reader.
func TestStreamSlowReader(t *testing.T) {
	bench := newStand()
	s := hasten(newServer(t, bench))
	s.pace.writeWithin = 300 * time.Millisecond
	address, _ := serve(t, s)
	slow, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer slow.Close()
	slow.(*net.TCPConn).SetReadBuffer(4096)
	if _, err := slow.Write([]byte("GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the slow reader's stream", func() bool { return bench.watched() == 1 })
	quick := listen(t, address)
	quick.all()
	// More than what the system holds for a connection, in pieces.
	for i := range 20 {
		text := strings.Repeat("x", 1<<20) + string(rune('a'+i))
		bench.show(func(n *view.Snapshot) {
			alarm := n.Alarms[0]
			alarm.Text = text
			n.Alarms = []view.Alarm{alarm}
		})
		for { // some rows are refreshed in between
			if name, v := quick.event(); name == "alarm" {
				if v["text"] != text {
					t.Fatal("the quick reader got another text")
				}
				break
			}
		}
	}
	waitFor(t, "the slow reader to be let go", func() bool { return bench.watched() == 1 && s.streams.Len() == 1 })
}

// TestStreamSkips: a reader that was busy gets the newest, not all that it missed.
func TestStreamSkips(t *testing.T) {
	bench := newStand()
	s := hasten(newServer(t, bench))
	s.pace.apart, s.pace.weight = 200*time.Millisecond, 100*time.Millisecond
	address, _ := serve(t, s)
	l := listen(t, address)
	l.all()
	for weight := range 50 {
		bench.show(func(n *view.Snapshot) {
			scale := n.Scales[0]
			scale.WeightG = ptr(float64(100 + weight))
			n.Scales = []view.Scale{scale}
		})
	}
	events := 0
	for {
		events++
		if _, v := l.event(); v["weight_g"] == 149.0 {
			break
		}
	}
	if events > 10 {
		t.Errorf("%d events for 50 weights", events)
	}
}

func TestStreamsAreBounded(t *testing.T) {
	s := hasten(newServer(t, newStand()))
	for range streamsAtOnce {
		if _, ok := s.streams.Take("127.0.0.1:1"); !ok {
			t.Fatal("there is no room for as many as there may be")
		}
	}
	isProblem(t, answerTo(s.Handler(), fromHere("GET", "/api/v1/stream", "")), http.StatusServiceUnavailable)
}

// TestStreamsOfOneAddress: a client that opens streams without end takes them from nobody else.
func TestStreamsOfOneAddress(t *testing.T) {
	s := hasten(newServer(t, newStand()))
	for range streamsOfOne {
		if _, ok := s.streams.Take("192.0.2.1:1"); !ok {
			t.Fatal("there is no room for as many as one address may have")
		}
	}
	r := fromHere("GET", "/api/v1/stream", "")
	r.RemoteAddr = "192.0.2.1:2"
	isProblem(t, answerTo(s.Handler(), r), http.StatusServiceUnavailable)
	if give, ok := s.streams.Take("192.0.2.2:1"); !ok {
		t.Error("another address is shut out")
	} else {
		give()
	}
}

// deadlines records the deadlines that an answer is given.
type deadlines struct {
	http.ResponseWriter
	given []time.Time
}

func (d *deadlines) Unwrap() http.ResponseWriter { return d.ResponseWriter }

func (d *deadlines) SetWriteDeadline(at time.Time) error {
	d.given = append(d.given, at)
	return nil
}

// TestStreamOutlivesTheWriteTimeout: each event has a deadline of its own, and between events there is
// none, so that the server's time-out for whole answers does not end a stream.
func TestStreamOutlivesTheWriteTimeout(t *testing.T) {
	bench := newStand()
	s := hasten(newServer(t, bench))
	begun := time.Now()
	writers := make(chan *deadlines, 1)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d := &deadlines{ResponseWriter: w}
		s.Handler().ServeHTTP(d, r)
		writers <- d
	}))
	defer server.Close()
	reader := listen(t, strings.TrimPrefix(server.URL, "http://"))
	reader.all()
	bench.show(func(n *view.Snapshot) { n.Alarms = nil })
	reader.want("alarm")
	reader.cancel()
	given := (<-writers).given
	if len(given) < 4 || len(given)%2 != 0 {
		t.Fatalf("deadlines %v: want one, and none again, for each of two events or more", given)
	}
	for i, at := range given {
		if within := at.Sub(begun); i%2 == 0 && (within < s.pace.writeWithin || within > time.Minute) || i%2 == 1 && !at.IsZero() {
			t.Errorf("deadline %d of %d is %v, %v after the begin", i, len(given), at, within)
		}
	}
}

// waitFor waits for what another goroutine is about to bring about.
func waitFor(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(15 * time.Second); !done(); {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
		<-time.After(5 * time.Millisecond)
	}
}

// TestNews pins what counts as a change of a batch.
func TestNews(t *testing.T) {
	had := seen[view.Batch]{}
	send := func(seconds int, change func(b *view.Batch)) int {
		b := openBatch("0612-1")
		change(&b)
		fresh, _ := batchKind.news(had, []view.Batch{b}, time.Duration(seconds)*time.Second)
		return len(fresh)
	}
	same := func(*view.Batch) {}
	later := func(d time.Duration) func(*view.Batch) {
		return func(b *view.Batch) {
			ends := *b.EndsAt
			ends.Low = ends.Low.Add(d)
			b.EndsAt = &ends
		}
	}
	for i, step := range []struct {
		seconds int
		change  func(b *view.Batch)
		want    int
	}{
		{0, same, 1},
		{1, func(b *view.Batch) { b.AgeS, b.Spent, b.Time = ptr(3601.0), ptr(0.1501), at.Add(time.Second) }, 0},
		{2, later(4 * time.Second), 0},
		{3, later(-6 * time.Second), 1},
		{4, later(-7 * time.Second), 0},
		{5, func(b *view.Batch) { later(-6 * time.Second)(b); b.Quality = view.QualityUncertain }, 1},
		{6, func(b *view.Batch) { later(-6 * time.Second)(b); b.Quality = view.QualityUncertain }, 0},
		{16, func(b *view.Batch) { later(-6 * time.Second)(b); b.Quality = view.QualityUncertain }, 1},
		{17, func(b *view.Batch) { b.EndsAt = nil }, 1},
	} {
		if got := send(step.seconds, step.change); got != step.want {
			t.Errorf("step %d: %d rows, want %d", i, got, step.want)
		}
	}
}

// BenchmarkBurst is what one reader of the stream costs in a second of a bench with
// 50 open batches, none of which changed but in age. Budget on a Pi 4: 2 ms.
func BenchmarkBurst(b *testing.B) {
	n := shop()
	for range 48 {
		n.Batches = append(n.Batches, openBatch("0612-"+strings.Repeat("3", len(n.Batches))))
	}
	reader := newFollower()
	if len(reader.burst(n, nil)) == 0 {
		b.Fatal("nothing at first")
	}
	b.ReportAllocs()
	for b.Loop() {
		if len(reader.burst(n, nil)) != 0 {
			b.Fatal("something although nothing changed")
		}
	}
}

// TestAWeightDoesNotWait: what the scale shows goes out sooner than the rest.
func TestAWeightDoesNotWait(t *testing.T) {
	bench := newStand()
	s := hasten(newServer(t, bench))
	s.pace.apart, s.pace.weight = time.Hour, time.Millisecond
	address, _ := serve(t, s)
	l := listen(t, address)
	l.all()
	for weight := range 3 { // the rest waits for an hour
		bench.show(func(n *view.Snapshot) {
			scale := n.Scales[0]
			scale.WeightG = ptr(float64(200 + weight))
			n.Scales = []view.Scale{scale}
		})
		if kind, v := l.event(); kind != "scale" || v["weight_g"] != float64(200+weight) {
			t.Fatalf("%s %v, want the scale at %d g", kind, v, 200+weight)
		}
	}
}
