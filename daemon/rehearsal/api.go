package rehearsal

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"
)

// api is a client of the bench's HTTP API.
type api struct {
	base   string // http://HOST:PORT
	client *http.Client
}

// newAPI returns a client. Close ends its connections.
func newAPI(base string) *api {
	return &api{base: base, client: &http.Client{Transport: &http.Transport{}}}
}

func (a *api) close() { a.client.CloseIdleConnections() }

// problem is a refused change, with the reason for a person.
type problem struct {
	Status int    `json:"status"`
	Title  string `json:"title"`
	Detail string `json:"detail"`
}

func (r *problem) Error() string { return fmt.Sprintf("%d %s: %s", r.Status, r.Title, r.Detail) }

func asProblem(err error) (*problem, bool) {
	var r *problem
	return r, errors.As(err, &r)
}

// batch holds the fields of a batch that the mixer reads.
type batch struct {
	ID          string             `json:"id"`
	Ink         string             `json:"ink"`
	State       string             `json:"state"`
	Press       *string            `json:"press"`
	For         string             `json:"for_press"`
	Step        *string            `json:"step"`
	TargetsG    map[string]float64 `json:"targets_g"`
	Components  []component        `json:"components"`
	Corrections []correction       `json:"corrections"`
	EndsAt      *ends              `json:"ends_at"`
	Spent       *float64           `json:"spent"`
	Risk        *float64           `json:"risk"`
	LookFirst   bool               `json:"look_first"`
	Quality     string             `json:"quality"`
	PourFrom    []canChoice        `json:"pour_from"`
}

// canChoice is a can that the pour which a mix waits for may come from.
type canChoice struct {
	Can     string `json:"can"`
	Lot     string `json:"lot"`
	Stir    string `json:"stir"`    // why it must be stirred first
	Expired string `json:"expired"` // why it is refused
}

type component struct {
	Part string  `json:"part"`
	G    float64 `json:"g"`
}

type correction struct {
	Add struct {
		InkG      float64 `json:"ink_g"`
		HardenerG float64 `json:"hardener_g"`
		ThinnerG  float64 `json:"thinner_g"`
	} `json:"add"`
}

type ends struct {
	Expected time.Time `json:"expected"`
	Low      time.Time `json:"low"`
	High     time.Time `json:"high"`
}

// waitsFor returns the step that a mix waits for, empty when it waits for none.
func (b batch) waitsFor() string {
	if b.Step == nil {
		return ""
	}
	return *b.Step
}

func (b batch) on(press string) bool { return b.Press != nil && *b.Press == press }

func (b batch) pouredG(part string) (grams float64) {
	for _, c := range b.Components {
		if c.Part == part {
			grams += c.G
		}
	}
	return grams
}

// nextPour returns the part to pour next and its mass in g: that of the first correction, or
// what is missing from the target of the step.
func (b batch) nextPour() (part string, grams float64) {
	part = b.waitsFor()
	grams = b.TargetsG[part] - b.pouredG(part)
	if len(b.Corrections) == 0 {
		return part, grams
	}
	add := b.Corrections[0].Add
	switch {
	case add.InkG > 0:
		return "ink", add.InkG
	case add.HardenerG > 0:
		return "hardener", add.HardenerG
	case add.ThinnerG > 0:
		return "thinner", add.ThinnerG
	}
	return part, grams
}

// change sends a POST to a path of the API and returns the batch of the answer.
func (a *api) change(ctx context.Context, body any, path ...string) (batch, error) {
	var b batch
	return b, a.do(ctx, http.MethodPost, body, &b, path...)
}

// batch returns a batch by its id.
func (a *api) batch(ctx context.Context, id string) (batch, error) {
	var b batch
	return b, a.do(ctx, http.MethodGet, nil, &b, "batches", id)
}

// events returns the number of events in the journal so far.
func (a *api) events(ctx context.Context) (uint64, error) {
	var list struct{ Seq uint64 }
	return list.Seq, a.do(ctx, http.MethodGet, nil, &list, "batches")
}

const answerWithin = 15 * time.Second

func (a *api) do(ctx context.Context, method string, body, into any, path ...string) error {
	address, err := url.JoinPath(a.base, append([]string{"api", "v1"}, path...)...)
	if err != nil {
		return err
	}
	var sent io.Reader
	if body != nil {
		data, err := json.Marshal(body)
		if err != nil {
			return err
		}
		sent = bytes.NewReader(data)
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, method, address, sent)
	if err != nil {
		return err
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	answer, err := a.client.Do(request)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		return fmt.Errorf("%s %s: %w", method, address, err)
	}
	if answer.StatusCode >= 400 {
		r := &problem{Status: answer.StatusCode}
		if json.Unmarshal(data, r) != nil {
			return fmt.Errorf("%s %s: %s", method, address, answer.Status)
		}
		return r
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("%s %s: %w", method, address, err)
	}
	return nil
}

// ready waits until everything that the bench depends on is there. It returns an error that
// names what is missing when that takes too long.
func (a *api) ready(ctx context.Context, within time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	again := time.NewTicker(50 * time.Millisecond)
	defer again.Stop()
	said := ""
	for {
		request, err := http.NewRequestWithContext(ctx, http.MethodGet, a.base+"/readyz", nil)
		if err != nil {
			return err
		}
		answer, err := a.client.Do(request)
		if err == nil {
			data, _ := io.ReadAll(answer.Body)
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return nil
			}
			said = string(data)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the shop is not ready: %w: %s", ctx.Err(), said)
		case <-again.C:
		}
	}
}
