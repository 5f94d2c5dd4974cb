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

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/access"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// changed answers a change with the thing changed, as the bench wrote it.
type changed struct {
	Status      int
	ContentType string `header:"Content-Type"`
	Location    string `header:"Location"`
	Body        []byte
}

type onBatches struct {
	Key string `header:"Idempotency-Key" doc:"a repetition within a day gets the same answer"`
}

type onBatch struct {
	ID  string `path:"id"`
	Key string `header:"Idempotency-Key" doc:"a repetition within a day gets the same answer"`
}

type onAlarm struct {
	Name    string `path:"name"`
	Subject string `path:"subject"`
	Key     string `header:"Idempotency-Key" doc:"a repetition within a day gets the same answer"`
}

func (s *Server) changes(api huma.API) {
	s.mixing(api)
	changeBatch(s, api, "Confirm the step that a guided mix waits at", true, func(c *request.ConfirmStep, id string) { c.Batch = id })
	changeBatch(s, api, "Take back, within ten seconds, what was done to a batch: load, move, unload, close, good, thin, split, top-up, tests, abandon", true, func(c *request.Undo, id string) { c.Batch = id })
	changeBatch(s, api, "Take up a mix that was set aside, or say that the cup on the scale is its own", false, func(c *request.TakeUp, id string) { c.Batch = id })
	changeBatch(s, api, "Re-label or undo the last pour", true, func(c *request.CorrectPour, id string) { c.Batch = id })
	changeBatch(s, api, "Put a batch on a press", true, func(c *request.LoadBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Take a batch off its press", false, func(c *request.UnloadBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Put a batch onto a press or into another zone", true, func(c *request.MoveBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Pour a part of a batch into another cup", true, func(c *request.SplitBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Pour another batch into this one; the older life rules", true, func(c *request.TopUpBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Add thinner to a batch in use; it does not renew pot life", true, func(c *request.ThinBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Say what a cup in use weighs now, and so what evaporated", true, func(c *request.ReweighBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Log a test of what was printed with a batch", true, func(c *request.TestBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Say that somebody looked, and it is good", false, func(c *request.GoodBatch, id string) { c.Batch = id })
	changeBatch(s, api, "Give a mix up", false, func(c *request.AbandonMix, id string) { c.Batch = id })
	changeBatch(s, api, "End a batch", true, func(c *request.CloseBatch, id string) { c.Batch = id })

	changeAlarm(s, api, "Say that somebody has seen an alarm", false, func(c *request.AcknowledgeAlarm, in *onAlarm) { c.Alarm, c.Subject = in.Name, in.Subject })
	changeAlarm(s, api, "Put an alarm aside for a time", true, func(c *request.ShelveAlarm, in *onAlarm) { c.Alarm, c.Subject = in.Name, in.Subject })
	changeAlarm(s, api, "Take an alarm off the shelf", false, func(c *request.UnshelveAlarm, in *onAlarm) { c.Alarm, c.Subject = in.Name, in.Subject })
	countPrints(s, api)
	changeSensor(s, api, "Record a check of a sensor's humidity against a reference", true, func(c *request.VerifySensor, id string) { c.Sensor = id })
	changeSensor(s, api, "Begin the maintenance of a sensor or scale: its alarms are silent", true, func(c *request.TakeOutOfService, id string) { c.Sensor = id })
	changeSensor(s, api, "End the maintenance of a sensor or scale", false, func(c *request.PutInService, id string) { c.Sensor = id })
}

// mixing registers the two ways in which a batch comes to be: mixed under guidance,
// or recorded as mixed already. A time or a list of components tells the second.
func (s *Server) mixing(api huma.API) {
	start, recorded := reader[request.StartMix](api, true), reader[request.RecordMix](api, true)
	op := operation(api, "mix", base+"batches", "Start a guided mix, or record one already mixed", http.StatusCreated, reflect.TypeFor[view.Batch]())
	huma.Register(api, op, func(ctx context.Context, in *onBatches) (*changed, error) {
		body := bodyOf(ctx)
		value, err := parseJSON(body)
		if err != nil {
			return nil, err
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
		out, err := s.do(ctx, op, in.Key, apiPath("batches"), change)
		if err != nil {
			return nil, err
		}
		var made struct{ ID string }
		if json.Unmarshal(out.Body, &made) == nil && made.ID != "" {
			out.Location = apiPath("batches", made.ID)
		}
		return out, nil
	})
	schemas := api.OpenAPI().Components.Schemas
	setBody(api, op.Path, true, &huma.Schema{OneOf: []*huma.Schema{
		schemas.Schema(reflect.TypeFor[request.StartMix](), true, ""),
		schemas.Schema(reflect.TypeFor[request.RecordMix](), true, ""),
	}})
}

// changeBatch registers a change of one batch under the change's own verb.
func changeBatch[C request.Change](s *Server, api huma.API, summary string, needsBody bool, place func(c *C, id string)) {
	var none C
	verb := none.Verb()
	read := reader[C](api, needsBody)
	op := operation(api, verb, base+"batches/{id}/"+verb, summary, http.StatusOK, reflect.TypeFor[view.Batch]())
	huma.Register(api, op, func(ctx context.Context, in *onBatch) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		place(&change, in.ID)
		return s.do(ctx, op, in.Key, apiPath("batches", in.ID, verb), change)
	})
	takesBody[C](api, op.Path, needsBody)
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

// reader returns a function that reads a change of type C from a body. An empty body
// is an empty object where nothing is needed.
func reader[C request.Change](api huma.API, needed bool) func(body []byte) (C, error) {
	schemas := api.OpenAPI().Components.Schemas
	schema := schemas.Schema(reflect.TypeFor[C](), true, "")
	noNullLists(schemas, schema)
	s := shape{schemas, schema}
	return func(body []byte) (change C, err error) {
		if len(body) == 0 {
			if needed {
				return change, problem(http.StatusBadRequest, "", "the change needs a body")
			}
			return change, nil
		}
		value, err := parseJSON(body)
		if err != nil {
			return change, err
		}
		if err := s.check(value); err != nil {
			return change, err
		}
		if err := json.Unmarshal(body, &change); err != nil {
			return change, problem(http.StatusUnprocessableEntity, "", "the request is not a valid change: "+shortened(err.Error()))
		}
		return change, nil
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

func takesBody[C request.Change](api huma.API, path string, required bool) {
	setBody(api, path, required, api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[C](), true, ""))
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
	if err := s.allowed(v, change.Verb(), access.Needs(change.Verb())); err != nil {
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
		return nil, s.refused(err)
	}
	out := &changed{Status: op.DefaultStatus, ContentType: "application/json", Body: reply.Body}
	if !reply.OnDisk {
		out.Status, out.Body = http.StatusAccepted, notOnDisk(reply.Body)
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
