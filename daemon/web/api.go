package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"reflect"
	"slices"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"potlifed/daemon/asyncapi"
	"potlifed/daemon/describe"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/view"
	"potlifed/model/can"
)

const base = "/api/v1/"

// api makes the handler of everything under /api, of /openapi.json and of /asyncapi.json.
func (s *Server) api() (http.Handler, error) {
	mux := http.NewServeMux()
	api := humago.New(mux, huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI: "3.1.0",
			Info:    information(s.settings.Version),
			Components: &huma.Components{
				Schemas: newSchemas(), SecuritySchemes: securitySchemes(),
			},
		},
		// The second name is what the library looks up for application/problem+json.
		Formats:                      map[string]huma.Format{"application/json": huma.DefaultJSONFormat, "json": huma.DefaultJSONFormat},
		DefaultFormat:                "application/json",
		RejectUnknownQueryParameters: true,
		Transformers:                 []huma.Transformer{s.wordProblems},
		// The library's own pages load their scripts from elsewhere, and its handler of
		// the description writes to a shared variable; the description is served below.
	})
	s.lists(api)
	s.batches(api)
	s.others(api)
	s.past(api)
	s.longPast(api)
	s.drawn(api)
	s.storage(api)
	s.whatIfs(api)
	s.bands(api)
	s.inks(api)
	s.configuration(api)
	s.plans(api)
	s.studies(api)
	s.recipes(api)
	s.sessions(api)
	s.changes(api)
	s.cans(api)
	s.traced(api)
	mux.HandleFunc("GET "+base+"stream", s.stream)
	describeStream(api)

	complete(api.OpenAPI(), s.settings.Events)
	description, err := json.Marshal(api.OpenAPI())
	if err != nil {
		return nil, fmt.Errorf("describe the API: %w", err)
	}
	forget(api.OpenAPI())
	mux.HandleFunc("GET /openapi.json", seldom("application/openapi+json", description))
	topics, err := asyncapi.Document(s.settings.Version, s.settings.Events)
	if err != nil {
		return nil, err
	}
	mux.HandleFunc("GET /asyncapi.json", seldom("application/vnd.aai.asyncapi+json;version=3.0.0", topics))
	return s.withProblems(mux, s.withBody(noStore(mux))), nil
}

// newSchemas returns an empty set of schemas under their published names.
func newSchemas() huma.Registry { return huma.NewMapRegistry(describe.SchemaPrefix, schemaName) }

// forget drops what the description was written from: most of the memory that the API would take.
// Bodies of requests are checked by schemas of their own, and parameters by those of the operation.
func forget(api *huma.OpenAPI) {
	for _, item := range api.Paths {
		for _, op := range []*huma.Operation{item.Get, item.Post} {
			if op != nil {
				clear(op.Responses) // the handler has a copy of the operation with the same map
			}
		}
	}
	clear(api.Paths)
	clear(api.Components.Schemas.Map())
}

// seldom returns a handler that answers with a text. Only its compressed form is kept, since few
// clients ever ask for it.
func seldom(kind string, text []byte) http.HandlerFunc {
	var packed bytes.Buffer
	to := gzip.NewWriter(&packed)
	_, _ = to.Write(text) // a buffer takes everything
	_ = to.Close()
	return func(w http.ResponseWriter, _ *http.Request) {
		from, err := gzip.NewReader(bytes.NewReader(packed.Bytes()))
		if err != nil {
			return // it was written above: it can be read
		}
		w.Header().Set("Content-Type", kind)
		_, _ = io.Copy(w, from) // the client may have gone
	}
}

func noStore(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// withProblems answers what the mux has no pattern for, which it would do in plain
// text, and passes on the rest.
func (s *Server) withProblems(mux *http.ServeMux, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		handler, pattern := mux.Handler(r)
		if pattern != "" {
			next.ServeHTTP(w, r)
			return
		}
		unheard := &headOnly{header: http.Header{}}
		handler.ServeHTTP(unheard, r)
		if unheard.status == http.StatusMethodNotAllowed {
			s.refuseMethod(w, r, unheard.header.Get("Allow"))
			return
		}
		s.refuse(w, problem(http.StatusNotFound, "", "there is nothing at this path; /openapi.json lists what there is, and /asyncapi.json what there is over MQTT"))
	})
}

// headOnly takes an answer's status and header and drops its body.
type headOnly struct {
	header http.Header
	status int
}

func (h *headOnly) Header() http.Header         { return h.header }
func (h *headOnly) WriteHeader(status int)      { h.status = status }
func (h *headOnly) Write(b []byte) (int, error) { return len(b), nil }

// answer is an answer with a body that the API writes.
type answer[B any] struct{ Body B }

// The lists: one array named like the path's last word, and the number of the newest
// event that it takes account of.
type (
	airList struct {
		Air []view.Air `json:"air" doc:"the air of each zone"`
		Seq uint64     `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	scaleList struct {
		Scales []view.Scale `json:"scales" doc:"the scales"`
		Seq    uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	pressList struct {
		Presses []view.Press `json:"presses" doc:"the presses"`
		Seq     uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	lightList struct {
		Lights []view.Light `json:"lights" doc:"the lights"`
		Seq    uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	alarmList struct {
		Alarms []view.Alarm `json:"alarms" doc:"the alarms that are not normal"`
		Seq    uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	sensorList struct {
		Sensors []view.Sensor `json:"sensors" doc:"the sensors and scales"`
		Seq     uint64        `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	trendList struct {
		Trends []view.TrendInstrument `json:"trends" doc:"the instruments that follow batches; experimental"`
		Seq    uint64                 `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	inkList struct {
		Inks []view.Ink `json:"inks" doc:"the inks"`
		Seq  uint64     `json:"seq" doc:"number of the newest event that the answer includes"`
	}
)

func (s *Server) lists(api huma.API) {
	list(s, api, "air", "The air of each zone", func(n *view.Snapshot) airList { return airList{orEmpty(n.Air), n.Seq} })
	list(s, api, "scales", "What each scale shows", func(n *view.Snapshot) scaleList { return scaleList{orEmpty(n.Scales), n.Seq} })
	list(s, api, "presses", "The presses and what stands on them", func(n *view.Snapshot) pressList { return pressList{orEmpty(n.Presses), n.Seq} })
	list(s, api, "lights", "What each light is to show", func(n *view.Snapshot) lightList {
		rows := make([]view.Light, 0, len(n.Lights))
		for _, l := range n.Lights {
			rows = append(rows, lightRow(l, n.At))
		}
		return lightList{rows, n.Seq}
	})
	list(s, api, "alarms", "The standing alarms", func(n *view.Snapshot) alarmList { return alarmList{orEmpty(n.Alarms), n.Seq} })
	list(s, api, "trends", "The instruments that follow batches", func(n *view.Snapshot) trendList { return trendList{orEmpty(n.Trends), n.Seq} })
	list(s, api, "sensors", "The condition of each instrument", func(n *view.Snapshot) sensorList { return sensorList{orEmpty(n.Sensors), n.Seq} })
	list(s, api, "inks", "The inks", func(n *view.Snapshot) inkList { return inkList{orEmpty(n.Inks), n.Seq} })
}

// list registers a list that a snapshot holds.
func list[B any](s *Server, api huma.API, name, summary string, body func(*view.Snapshot) B) {
	huma.Register(api, huma.Operation{
		OperationID: name, Method: http.MethodGet, Path: base + name, Summary: summary,
	}, func(context.Context, *struct{}) (*answer[B], error) {
		return &answer[B]{body(s.bench.Snapshot())}, nil
	})
}

// rowSchemas are the rows of package view that are published with the suffix View.
var rowSchemas = []reflect.Type{
	reflect.TypeFor[view.Air](), reflect.TypeFor[view.Scale](), reflect.TypeFor[view.Pouring](), reflect.TypeFor[view.Sensor](),
	reflect.TypeFor[view.Batch](), reflect.TypeFor[view.Thinner](), reflect.TypeFor[view.Ratio](), reflect.TypeFor[view.Press](),
	reflect.TypeFor[view.Light](), reflect.TypeFor[view.Alarm](), reflect.TypeFor[view.Ink](), reflect.TypeFor[view.Learned](),
	reflect.TypeFor[view.Recipe](), reflect.TypeFor[view.Can](), reflect.TypeFor[can.Lot](),
}

// schemaName returns the name of a type's schema in the description. Clients are
// generated from it, so a row keeps its published name when its Go type is renamed.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if slices.Contains(rowSchemas, t) {
		name += "View"
	}
	if t.PkgPath() == reflect.TypeFor[history.Air]().PkgPath() {
		name = "History" + name
	}
	if t.PkgPath() == reflect.TypeFor[study.Answer]().PkgPath() {
		name = "Study" + name
	}
	return name
}
