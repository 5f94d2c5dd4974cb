package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/request"
	"potlifed/model/mix"
)

// TestChanges: each path hands its own change to the bench, with the ids of the path.
func TestChanges(t *testing.T) {
	tests := []struct {
		path, body string
		want       request.Change
	}{
		{"batches", `{"scale":"scale-1","ink":"dial-satin","press":"press-1"}`, request.StartMix{Scale: "scale-1", Ink: "dial-satin", Press: "press-1"}},
		{
			"batches", `{"scale":"scale-1","ink":"dial-satin","cup":"cup-110","colour_class":"light","artwork":"large-solid","ink_g":95,"thinner_pct":12.5}`,
			request.StartMix{
				Scale: "scale-1", Ink: "dial-satin", Cup: "cup-110", ColourClass: "light", Artwork: "large-solid", InkG: ptr(95.0), ThinnerPct: ptr(12.5),
			},
		},
		{
			"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00+02:00","cup":"cup-110","components":[{"part":"ink","g":85,"can":"c-7"},{"part":"hardener","g":17}]}`,
			request.RecordMix{
				Ink: "dial-satin", MixedAt: time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC), Cup: "cup-110",
				Components: []mix.Component{{Part: mix.Ink, G: 85, Can: "c-7"}, {Part: mix.Hardener, G: 17}},
			},
		},
		{"batches/0612-2/confirm", `{"step":"ink"}`, request.ConfirmStep{Batch: "0612-2", Step: "ink"}},
		{
			"batches/0612-2/confirm", `{"step":"hardener","override":"last of the can","part":"hardener","can":"h-1","tared":false}`,
			request.ConfirmStep{Batch: "0612-2", Step: "hardener", Override: "last of the can", Part: "hardener", Can: "h-1", Tared: ptr(false)},
		},
		{"batches/0612-2/correct", `{"part":"hardener"}`, request.CorrectPour{Batch: "0612-2", Part: "hardener"}},
		{"batches/0612-2/correct", `{"undo":true}`, request.CorrectPour{Batch: "0612-2", Undo: true}},
		{"batches/0612-1/load", `{"press":"press-2","replace":true}`, request.LoadBatch{Batch: "0612-1", Press: "press-2", Replace: true}},
		{"batches/0612-1/unload", ``, request.UnloadBatch{Batch: "0612-1"}},
		{"batches/0612-1/unload", `{}`, request.UnloadBatch{Batch: "0612-1"}},
		{"batches/0612-1/good", ``, request.GoodBatch{Batch: "0612-1"}},
		{"batches/0612-2/abandon", ` {} `, request.AbandonMix{Batch: "0612-2"}},
		{
			"batches/0612-1/close", `{"outcome":"went-off","still_good":"no","seen":"now","left_g":12}`,
			request.CloseBatch{Batch: "0612-1", Outcome: "went-off", StillGood: "no", Seen: "now", LeftG: ptr(12.0)},
		},
		{"alarms/sensor-stale/floor-air/acknowledge", ``, request.AcknowledgeAlarm{Alarm: "sensor-stale", Subject: "floor-air"}},
		{
			"alarms/sensor-stale/floor-air/shelve", `{"until":"2026-06-12T10:30:00Z","reason":"being moved"}`,
			request.ShelveAlarm{Alarm: "sensor-stale", Subject: "floor-air", Until: time.Date(2026, 6, 12, 10, 30, 0, 0, time.UTC), Reason: "being moved"},
		},
		{"alarms/sensor-stale/floor-air/unshelve", ``, request.UnshelveAlarm{Alarm: "sensor-stale", Subject: "floor-air"}},
		{
			"sensors/floor-air/out-of-service", `{"until":"2026-06-13T09:30:00Z","reason":"in the salt jar"}`,
			request.TakeOutOfService{Sensor: "floor-air", Until: time.Date(2026, 6, 13, 9, 30, 0, 0, time.UTC), Reason: "in the salt jar"},
		},
		{
			"cans", `{"ink":"dial-satin","lot":"A 17","colour":"red","opened_on":"2026-06-01","use_by":"2027-01-31"}`,
			request.MakeCan{Ink: "dial-satin", Lot: "A 17", Colour: "red", OpenedOn: "2026-06-01", UseBy: "2027-01-31"},
		},
		{"cans/ink-1/opened", `{"on":"2026-06-02"}`, request.OpenCan{Can: "ink-1", On: "2026-06-02"}},
		{"cans/ink-1/stirred", ``, request.StirCan{Can: "ink-1"}},
		{"cans/ink-1/emptied", `{"undo":true}`, request.EmptyCan{Can: "ink-1", Undo: true}},
		{"presses/press-1/prints", `{"total":120}`, request.CountPrints{Press: "press-1", Total: ptr(uint64(120))}},
		{"sensors/floor-air/in-service", ``, request.PutInService{Sensor: "floor-air"}},
	}
	s := newStand()
	h := newServer(t, s).Handler()
	for _, test := range tests {
		w := answerTo(h, fromHere("POST", "/api/v1/"+test.path, test.body))
		status, location := http.StatusOK, ""
		if test.path == "cans" {
			status, location = http.StatusCreated, "/api/v1/cans/0612-1" // the stand answers everything with one id
		}
		if test.path == "batches" {
			status, location = http.StatusCreated, "/api/v1/batches/0612-1"
		}
		if w.Code != status || w.Header().Get("Content-Type") != "application/json" || w.Header().Get("Location") != location {
			t.Fatalf("%s: status %d, header %v: %s", test.path, w.Code, w.Header(), w.Body)
		}
		if got, want := w.Body.String(), `{"id":"0612-1","verb":"`+test.want.Verb()+`"}`; got != want {
			t.Errorf("%s: answered %s, the bench said %s", test.path, got, want)
		}
		got := s.last(t)
		if diff := cmp.Diff(test.want, got.Change); diff != "" {
			t.Errorf("%s %s: %s", test.path, test.body, diff)
		}
		if got.By != "local" || got.Key != "" || got.Hash != "" {
			t.Errorf("%s: request %+v", test.path, got)
		}
	}
}

// TestRefusedBodies: what is no valid change never reaches the bench.
func TestRefusedBodies(t *testing.T) {
	deep := strings.Repeat(`[`, 20) + strings.Repeat(`]`, 20)
	tests := []struct {
		path, body string
		status     int
	}{
		{"batches", ``, 400},
		{"batches", `{`, 400},
		{"batches", `{"scale":"scale-1","ink":}`, 400},
		{"batches", `{"ink":"dial-satin"} {}`, 400},
		{"batches", `{"ink":"dial-satin"},`, 400},
		{"batches", `{"ink":"dial-satin",}`, 400},
		{"batches", `{"ink":"dial-satin","ink_g":NaN}`, 400},
		{"batches", `{"ink":"dial-satin","ink_g":Infinity}`, 400},
		{"batches", `{"ink":"dial-satin","ink_g":-Infinity}`, 400},
		{"batches", "{\"ink\":\"\xff\"}", 400},
		{"batches", `{"ink":"dial-satin","ink_g":1e999}`, 422},
		{"batches", `{"ink":"dial-satin","ink_g":"60"}`, 422},
		{"batches", `null`, 422},
		{"batches", `[]`, 422},
		{"batches", `"dial-satin"`, 422},
		{"batches", `{}`, 422},
		{"batches", `{"ink":"dial-satin","colour":"dark"}`, 422},
		{"batches", `{"ink":"dial-satin","colour_class":"pale"}`, 422},
		{"batches", `{"ink":"dial-satin","cup":` + deep + `}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z"}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":null}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":{}}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"yesterday","components":[]}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":1781251200,"components":[]}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":null,"components":[]}`, 422},
		{"batches", `{"ink":"dial-satin","scale":"scale-1","mixed_at":"2026-06-12T08:00:00Z","components":[]}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":[{"part":"ink","g":85,"G":86}]}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":[{"part":"ink","mass":60}]}`, 422},
		{"batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":[{"part":"ink","g":85,"g":86}]}`, 422},
		{"batches/0612-2/confirm", ``, 400},
		{"batches/0612-2/confirm", `{}`, 422},
		{"batches/0612-2/confirm", `{"step":7}`, 422},
		{"batches/0612-2/confirm", `{"step":"ink","part":"water"}`, 422},
		{"batches/0612-2/confirm", `{"step":"ink","batch":"0612-1"}`, 422},
		{"batches/0612-1/load", `{"press":null}`, 422},
		{"batches/0612-1/close", `{"outcome":"eaten"}`, 422},
		{"batches/0612-1/good", `{"by":"someone"}`, 422},
		{"alarms/a/b/acknowledge", `{"alarm":"c"}`, 422},
		{"alarms/a/b/shelve", `{}`, 422},
		{"alarms/a/b/shelve", `{"until":"noon"}`, 422},
		{"sensors/a/out-of-service", `{"until":"2026-06-13T09:30:00Z"}`, 422},
		{"sensors/a/in-service", `{"sensor":"b"}`, 422},
		{"presses/press-1/prints", `{"add":-1}`, 422},
		{"presses/press-1/prints", `{"add":1,"press":"press-2"}`, 422},
	}
	s := newStand()
	h := newServer(t, s).Handler()
	for _, test := range tests {
		r := fromHere("POST", "/api/v1/"+test.path, test.body)
		r.Header.Set("Content-Type", "application/json")
		w := answerTo(h, r)
		if w.Code != test.status {
			t.Errorf("%s %s: status %d, want %d: %s", test.path, test.body, w.Code, test.status, w.Body)
			continue
		}
		isProblem(t, w, test.status)
		if len(s.asked) != 0 {
			t.Fatalf("%s %s reached the bench", test.path, test.body)
		}
	}
}

// TestFaultsAreNamed: a problem says which field is wrong, all of them at once, and
// does not send back what was sent at any length.
func TestFaultsAreNamed(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	p := isProblem(t, answerTo(h, fromHere("POST", "/api/v1/batches/0612-1/close", `{"outcome":"eaten","still_good":"maybe"}`)), 422)
	var locations []string
	for _, e := range p["errors"].([]any) {
		locations = append(locations, e.(map[string]any)["location"].(string))
	}
	slices.Sort(locations)
	if !slices.Equal(locations, []string{"body.outcome", "body.still_good"}) {
		t.Errorf("faults at %v", locations)
	}
	items := strings.Repeat(`{"part":"`+strings.Repeat("x", 100)+`"},`, 5000)
	long := fmt.Sprintf(`{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":[%s{}]}`, items)
	if w := answerTo(h, fromHere("POST", "/api/v1/batches", long)); w.Code != 422 || w.Body.Len() > 8000 {
		t.Errorf("status %d, %d bytes", w.Code, w.Body.Len())
	}
}

func TestContentType(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for ct, want := range map[string]int{
		"application/json": 201, "application/json; charset=utf-8": 201, "APPLICATION/JSON;charset=UTF-8": 201,
		"": 415, "text/plain": 415, "application/x-www-form-urlencoded": 415, "multipart/form-data; boundary=x": 415, "application/json; charset=latin1": 415,
		"application/problem+json": 415, ";;;": 415, "application/json+;": 415,
	} {
		r := fromHere("POST", "/api/v1/batches", `{"ink":"dial-satin","scale":"scale-1"}`)
		r.Header.Set("Content-Type", ct)
		if w := answerTo(h, r); w.Code != want {
			t.Errorf("%q: status %d, want %d", ct, w.Code, want)
		}
	}
	r := fromHere("POST", "/api/v1/batches", `{"ink":"dial-satin","scale":"scale-1"}`)
	r.Header.Set("Content-Encoding", "gzip")
	isProblem(t, answerTo(newServer(t, newStand()).Handler(), r), http.StatusUnsupportedMediaType)
}

func TestTooLarge(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	body := `{"ink":"` + strings.Repeat("x", bodyBytes) + `"}`
	isProblem(t, answerTo(h, fromHere("POST", "/api/v1/batches", body)), http.StatusRequestEntityTooLarge)
	r := fromHere("POST", "/api/v1/batches", body)
	r.ContentLength = -1 // not announced
	isProblem(t, answerTo(h, r), http.StatusRequestEntityTooLarge)
	if len(s.asked) != 0 {
		t.Error("it reached the bench")
	}
}

// TestMalformedOnTheWire sends what no client library would.
func TestMalformedOnTheWire(t *testing.T) {
	address, _ := serve(t, newServer(t, newStand()))
	head := "POST /api/v1/batches HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
	for name, test := range map[string]struct{ send, status string }{
		"a chunk without length": {head + "Transfer-Encoding: chunked\r\n\r\nxyz\r\n", "400"},
		"a chunk too short":      {head + "Transfer-Encoding: chunked\r\n\r\n2\r\n{}xx\r\n0\r\n\r\n", "400"},
		"no host":                {"GET /api/v1/air HTTP/1.1\r\n\r\n", "400"},
		"no host, HTTP/1.0":      {"GET /api/v1/air HTTP/1.0\r\n\r\n", "421"},
		"a header without end":   {"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("x", 100_000) + "\r\n\r\n", "431"},
	} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		c.SetDeadline(time.Now().Add(10 * time.Second))
		c.Write([]byte(test.send))
		line, err := bufio.NewReader(c).ReadString('\n')
		if err != nil || !strings.Contains(line, " "+test.status+" ") {
			t.Errorf("%s: %q, %v", name, line, err)
		}
		c.Close()
	}
}

func TestRefusals(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	for _, test := range []struct {
		err    error
		status int
	}{
		{request.Refuse(request.NotFound, "No such batch", "there is no batch %q", "0612-9"), 404},
		{request.Refuse(request.NotNow, "Not settled", "the weight still moves"), 409},
		{request.Refuse(request.Invalid, "Not like this", "thinner before the hardener is stirred in"), 422},
		{request.Refuse(request.Unavailable, "Not written", "the card is full"), 503},
		{request.Refuse(request.TooLong, "Too long", "65537 bytes; 65536 at most"), 413},
		{&request.Refusal{Kind: "of a later version", Title: "Not yet", Detail: "later"}, 500},
		{fmt.Errorf("wrapped: %w", request.Refuse(request.NotNow, "Not settled", "the weight still moves")), 409},
		{context.DeadlineExceeded, 503},
		{context.Canceled, 503},
	} {
		s.do = func(context.Context, request.Request) (request.Reply, error) { return request.Reply{}, test.err }
		p := isProblem(t, answerTo(h, fromHere("POST", "/api/v1/batches/0612-1/good", "")), test.status)
		if test.status == 409 && (p["title"] != "Not settled" || p["detail"] != "the weight still moves") {
			t.Errorf("problem %v", p)
		}
	}
}

// TestNotOnDisk: what was taken while the journal cannot write is a 202 that says so.
func TestNotOnDisk(t *testing.T) {
	for _, body := range []string{`{"id":"0612-1","left_g":12.50}`, `{"on_disk":false,"id":"0612-1","left_g":12.50}`} {
		s := newStand()
		s.do = func(context.Context, request.Request) (request.Reply, error) {
			return request.Reply{Body: json.RawMessage(body)}, nil
		}
		w := answerTo(newServer(t, s).Handler(), fromHere("POST", "/api/v1/batches/0612-1/close", `{"outcome":"used-up"}`))
		v := object(t, w)
		if w.Code != http.StatusAccepted || v["on_disk"] != false || v["id"] != "0612-1" || !strings.Contains(w.Body.String(), "12.50") {
			t.Errorf("status %d: %s", w.Code, w.Body)
		}
	}
}

func TestIdempotencyKey(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	send := func(path, body, key string) request.Request {
		r := fromHere("POST", "/api/v1/"+path, body)
		r.Header.Set("Idempotency-Key", key)
		if w := answerTo(h, r); w.Code >= 300 {
			t.Fatalf("status %d: %s", w.Code, w.Body)
		}
		return s.last(t)
	}
	first := send("batches/0612-1/load", `{"press":"press-2"}`, "k-1")
	again := send("batches/0612-1/load", `{"press":"press-2"}`, "k-1")
	body := send("batches/0612-1/load", `{"press":"press-1"}`, "k-1")
	path := send("batches/0612-2/load", `{"press":"press-2"}`, "k-1")
	if first.Key != "http:local:k-1" || first.Hash == "" || first.Hash != again.Hash || first.Key != again.Key {
		t.Errorf("a repetition differs: %+v, %+v", first, again)
	}
	if first.Hash == body.Hash || first.Hash == path.Hash || body.Hash == path.Hash {
		t.Error("requests that differ have the same hash")
	}
	for _, key := range []string{strings.Repeat("k", keyCharacters+1), "a b", "ä", "a\x01"} {
		r := fromHere("POST", "/api/v1/batches/0612-1/good", "")
		r.Header["Idempotency-Key"] = []string{key}
		isProblem(t, answerTo(h, r), http.StatusBadRequest)
	}
}

// FuzzChanges sends anything to any path: the answer is never a 5xx, every refusal is
// a problem, and what reaches the bench is made of finite numbers.
func FuzzChanges(f *testing.F) {
	for _, seed := range [][3]string{
		{"POST", "batches", `{"scale":"scale-1","ink":"dial-satin","press":"press-1","ink_g":60}`},
		{"POST", "batches", `{"ink":"dial-satin","mixed_at":"2026-06-12T08:00:00Z","components":[{"part":"ink","g":60}]}`},
		{"POST", "batches/0612-2/confirm", `{"step":"ink","tared":true}`},
		{"POST", "batches/0612-2/correct", `{"undo":true}`},
		{"POST", "batches/0612-1/load", `{"press":"press-2"}`},
		{"POST", "batches/0612-1/close", `{"outcome":"used-up","left_g":1e308}`},
		{"POST", "batches/%2F%00/good", ``},
		{"POST", "alarms/sensor-stale/floor-air/acknowledge", `{}`},
		{"PUT", "batches//load", `{"a":[{"b":null}]}`},
		{"GET", "events?after=9&limit=2", ``},
		{"GET", "history/air?zone=bench&step=1m&from=2026-06-12T08:00:00Z", ``},
		{"GET", "batches/0612-1", ``},
	} {
		f.Add(seed[0], seed[1], "application/json", "k", []byte(seed[2]))
	}
	s := newStand()
	s.steps = someAir()
	h := newServer(f, s).Handler()
	f.Fuzz(func(t *testing.T, method, path, contentType, key string, body []byte) {
		if path == "stream" { // does not end by itself
			return
		}
		r, err := http.NewRequest(method, "http://localhost/api/v1/"+path, strings.NewReader(string(body)))
		if err != nil || strings.HasPrefix(r.URL.Path, "/api/v1/stream") || !strings.HasPrefix(r.URL.Path, "/api/") {
			return
		}
		r.RemoteAddr = "127.0.0.1:50000"
		r.Header.Set("Content-Type", contentType)
		r.Header.Set("Idempotency-Key", key)
		s.asked = nil
		w := answerTo(h, r)
		if w.Code >= 500 {
			t.Fatalf("status %d: %s", w.Code, w.Body)
		}
		if w.Code >= 400 {
			var p struct {
				Status int
				Text   string
			}
			if w.Header().Get("Content-Type") != "application/problem+json" || json.Unmarshal(w.Body.Bytes(), &p) != nil && method != "HEAD" || p.Status != w.Code || p.Text == "" && method != "HEAD" {
				t.Fatalf("status %d without a problem: %v %s", w.Code, w.Header(), w.Body)
			}
		}
		for _, asked := range s.asked {
			if w.Code >= 400 {
				t.Fatalf("the bench was asked for %+v and the answer was %d", asked, w.Code)
			}
			checkFinite(t, asked.Change)
		}
	})
}

func checkFinite(t *testing.T, c request.Change) {
	var masses []float64
	switch c := c.(type) {
	case request.StartMix:
		for _, v := range []*float64{c.InkG, c.ThinnerPct} {
			if v != nil {
				masses = append(masses, *v)
			}
		}
	case request.RecordMix:
		for _, part := range c.Components {
			masses = append(masses, part.G)
		}
	case request.CloseBatch:
		if c.LeftG != nil {
			masses = append(masses, *c.LeftG)
		}
	}
	for _, v := range masses {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%+v has a mass that is no number", c)
		}
	}
}
