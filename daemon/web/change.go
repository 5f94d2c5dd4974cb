package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/strictjson"
	"potlifed/daemon/view"
)

// changed answers a change with the thing changed, as the bench wrote it.
type changed struct {
	Status      int
	ContentType string `header:"Content-Type"`
	Location    string `header:"Location"`
	Body        []byte
}

type keyOnly struct {
	Key string `header:"Idempotency-Key" doc:"a name of the client's own for this request, up to 200 visible ASCII characters; the same request under the same key within 24 hours is carried out only once"`
}

type onThing struct {
	ID  string `path:"id" doc:"id of the thing that is changed"`
	Key string `header:"Idempotency-Key" doc:"a name of the client's own for this request, up to 200 visible ASCII characters; the same request under the same key within 24 hours is carried out only once"`
}

type onAlarm struct {
	Name    string `path:"name" doc:"name of the alarm"`
	Subject string `path:"subject" doc:"id of the thing that the alarm is about"`
	Key     string `header:"Idempotency-Key" doc:"a name of the client's own for this request, up to 200 visible ASCII characters; the same request under the same key within 24 hours is carried out only once"`
}

// changes registers the changes of the table that are about a batch, an alarm, a press, an
// instrument, a can, or the jars of an ink. The others are read or answered in a way of their own: a new batch,
// a new can, what is learned, and pairing.
func (s *Server) changes(api huma.API) {
	s.mixing(api)
	for _, row := range request.Table() {
		thing, _, _ := strings.Cut(row.Path, "/")
		if answers := answersOf[thing]; answers != nil && len(row.About) > 0 && row.MQTT {
			s.change(api, row, answers)
		}
	}
}

// answersOf is what the changes below a path answer with: the thing that was changed.
var answersOf = map[string]reflect.Type{
	"batches": reflect.TypeFor[view.Batch](), "alarms": reflect.TypeFor[view.Alarm](), "presses": reflect.TypeFor[view.Press](),
	"sensors": reflect.TypeFor[view.Sensor](), "scales": reflect.TypeFor[view.Sensor](), "cans": reflect.TypeFor[view.Can](), "inks": reflect.TypeFor[view.Ink](),
}

// change registers one row of the table under its own path.
func (s *Server) change(api huma.API, row request.Row, answers reflect.Type) {
	read := reader(api, row)
	op := operation(api, row.Verb, base+row.Path, row.Summary, http.StatusOK, answers)
	obey := func(ctx context.Context, key string, ids ...string) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		pieces := append([]string{strings.Split(row.Path, "/")[0]}, ids...)
		return s.do(ctx, op, key, apiPath(append(pieces, row.Verb)...), row.With(change, ids...))
	}
	if len(row.About) == 2 {
		huma.Register(api, op, func(ctx context.Context, in *onAlarm) (*changed, error) {
			return obey(ctx, in.Key, in.Name, in.Subject)
		})
	} else {
		huma.Register(api, op, func(ctx context.Context, in *onThing) (*changed, error) { return obey(ctx, in.Key, in.ID) })
	}
	takesBody(api, row)
}

// mixing registers the two ways in which a batch comes to be: mixed under guidance,
// or recorded as mixed already. A time or a list of components tells the second.
func (s *Server) mixing(api huma.API) {
	guided, _ := request.Find(request.StartMix{}.Verb())
	finished, _ := request.Find(request.RecordMix{}.Verb())
	start, recorded := reader(api, guided), reader(api, finished)
	op := operation(api, guided.Verb, base+guided.Path, guided.Summary, http.StatusCreated, reflect.TypeFor[view.Batch]())
	huma.Register(api, op, func(ctx context.Context, in *keyOnly) (*changed, error) {
		body := bodyOf(ctx)
		value, err := strictjson.Value(body)
		if err != nil {
			return nil, jsonProblem(err)
		}
		fields, _ := value.(map[string]any)
		_, hasTime := fields["mixed_at"]
		_, hasParts := fields["components"]
		var change request.Change
		if hasTime || hasParts {
			change, err = recorded(body)
		} else {
			change, err = start(body)
		}
		if err != nil {
			return nil, err
		}
		return s.create(ctx, op, in.Key, "batches", change)
	})
	schemas := api.OpenAPI().Components.Schemas
	setBody(api, op.Path, true, &huma.Schema{OneOf: []*huma.Schema{
		schemas.Schema(guided.Type, true, ""),
		schemas.Schema(finished.Type, true, ""),
	}})
}

// operation describes a change that answers the given type.
func operation(api huma.API, id, path, summary string, status int, answers reflect.Type) huma.Operation {
	thing := func(description string) *huma.Response {
		return &huma.Response{Description: description, Content: map[string]*huma.MediaType{
			"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(answers, true, "")},
		}}
	}
	return huma.Operation{
		OperationID: id, Method: http.MethodPost, Path: path, Summary: summary, DefaultStatus: status, Security: mayChange(),
		Responses: map[string]*huma.Response{
			strconv.Itoa(status): thing("Done, and on disk"),
			"202":                thing("Done, but not on disk yet: the journal cannot write, and a crash would lose it"),
		},
		Errors: []int{
			http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusConflict, http.StatusRequestEntityTooLarge,
			http.StatusUnsupportedMediaType, http.StatusMisdirectedRequest, http.StatusServiceUnavailable,
		},
	}
}

// reader returns a function that reads the row's change from a body. An empty body is an
// empty object where none is needed. What the path carries is refused in the body.
func reader(api huma.API, row request.Row) func(body []byte) (request.Change, error) {
	described := api.OpenAPI().Components.Schemas
	noNullLists(described, described.Schema(row.Type, true, ""))
	s := shapeOf(row.Type, row.About)
	noNullLists(s.registry, s.schema)
	return func(body []byte) (request.Change, error) {
		pointer, change := row.New()
		if len(body) == 0 {
			if row.NeedsBody {
				return nil, problem(http.StatusBadRequest, "", "the change needs a body")
			}
			return change(), nil
		}
		value, err := strictjson.Value(body)
		if err != nil {
			return nil, jsonProblem(err)
		}
		if err := s.check(value); err != nil {
			return nil, err
		}
		if err := strictjson.Decode(body, pointer); err != nil {
			return nil, jsonProblem(err)
		}
		return change(), nil
	}
}

// noNullLists takes from a schema's lists that they may be null, which the library
// grants to each.
func noNullLists(schemas huma.Registry, schema *huma.Schema) {
	for schema.Ref != "" {
		schema = schemas.SchemaFromRef(schema.Ref)
	}
	for _, p := range schema.Properties {
		if p.Type == huma.TypeArray {
			p.Nullable = false
		}
	}
}

func takesBody(api huma.API, row request.Row) {
	setBody(api, base+row.Path, row.NeedsBody, api.OpenAPI().Components.Schemas.Schema(row.Type, true, ""))
}

// setBody describes the body of a change after it was registered: registered with
// it, the library would read the body itself.
func setBody(api huma.API, path string, required bool, schema *huma.Schema) {
	api.OpenAPI().Paths[path].Post.RequestBody = &huma.RequestBody{
		Required: required, Content: map[string]*huma.MediaType{"application/json": {Schema: schema}},
	}
}

// apiPath is a path of the API with its pieces escaped.
func apiPath(pieces ...string) string {
	p := base
	for i, piece := range pieces {
		if i > 0 {
			p += "/"
		}
		p += url.PathEscape(piece)
	}
	return p
}

// do hands a change to the bench and answers with what became of it.
func (s *Server) do(ctx context.Context, op huma.Operation, key, path string, change request.Change) (*changed, error) {
	v := visitorOf(ctx)
	if err := s.allowed(v, change.Verb(), request.Needs(change.Verb())); err != nil {
		return nil, err
	}
	request := request.Request{Change: change, By: v.caller.by}
	if key != "" {
		if len(key) > keyCharacters || !isPlain(key) {
			return nil, problem(http.StatusBadRequest, "", fmt.Sprintf("an Idempotency-Key is at most %d visible characters of ASCII", keyCharacters))
		}
		request.Key, request.Hash = "http:"+v.caller.account()+":"+key, hash(op.Method, path, bodyOf(ctx))
	}
	ctx, cancel := context.WithTimeout(ctx, changeWithin)
	defer cancel()
	reply, err := s.bench.Do(ctx, request)
	if err != nil {
		return nil, s.refusalProblem(err)
	}
	out := &changed{Status: op.DefaultStatus, ContentType: "application/json", Body: reply.Body}
	if !reply.OnDisk {
		out.Status, out.Body = http.StatusAccepted, notOnDisk(reply.Body)
	}
	return out, nil
}

// create hands a change to the bench that makes a new thing of a list, and answers with where it is.
func (s *Server) create(ctx context.Context, op huma.Operation, key, list string, change request.Change) (*changed, error) {
	out, err := s.do(ctx, op, key, apiPath(list), change)
	if err != nil {
		return nil, err
	}
	var made struct{ ID string }
	if json.Unmarshal(out.Body, &made) == nil && made.ID != "" {
		out.Location = apiPath(list, made.ID)
	}
	return out, nil
}

// notOnDisk adds to an object, unless it says so already, that it is not on disk.
func notOnDisk(body []byte) []byte {
	var fields map[string]json.RawMessage
	if json.Unmarshal(body, &fields) != nil {
		return body
	}
	if _, ok := fields["on_disk"]; ok {
		return body
	}
	fields["on_disk"] = json.RawMessage("false")
	marked, err := json.Marshal(fields)
	if err != nil { // what was read can be written
		return body
	}
	return marked
}

// hash tells a repetition of a request from another one under the same key.
func hash(method, path string, body []byte) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s %s\n", method, path)
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

func isPlain(text string) bool {
	for _, r := range text {
		if r < '!' || r > '~' {
			return false
		}
	}
	return true
}
