package web

import (
	"context"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// changeAlarm registers a change of one alarm under the change's own verb.
func changeAlarm[C request.Change](s *Server, api huma.API, summary string, needsBody bool, place func(c *C, in *onAlarm)) {
	var none C
	verb := none.Verb()
	read := reader[C](api, needsBody)
	op := operation(api, verb, base+"alarms/{name}/{subject}/"+verb, summary, http.StatusOK, reflect.TypeFor[view.Alarm]())
	huma.Register(api, op, func(ctx context.Context, in *onAlarm) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		place(&change, in)
		return s.do(ctx, op, in.Key, apiPath("alarms", in.Name, in.Subject, verb), change)
	})
	takesBody[C](api, op.Path, needsBody)
}

// changeSensor registers a change of one sensor or scale under the change's own verb.
func changeSensor[C request.Change](s *Server, api huma.API, summary string, needsBody bool, place func(c *C, id string)) {
	var none C
	verb := none.Verb()
	read := reader[C](api, needsBody)
	op := operation(api, verb, base+"sensors/{id}/"+verb, summary, http.StatusOK, reflect.TypeFor[view.Sensor]())
	huma.Register(api, op, func(ctx context.Context, in *onDevice) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		place(&change, in.ID)
		return s.do(ctx, op, in.Key, apiPath("sensors", in.ID, verb), change)
	})
	takesBody[C](api, op.Path, needsBody)
}

type onDevice struct {
	ID  string `path:"id"`
	Key string `header:"Idempotency-Key" doc:"a repetition within a day gets the same answer"`
}

// countPrints registers the reports of what a press has printed. Its body may not name
// a press: other changes have that field, so it is refused here.
func countPrints(s *Server, api huma.API) {
	read := reader[request.CountPrints](api, true)
	op := operation(api, "prints", base+"presses/{id}/prints", "Say what a press has printed", http.StatusOK, reflect.TypeFor[view.Press]())
	huma.Register(api, op, func(ctx context.Context, in *onDevice) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		if change.Press != "" {
			return nil, problem(http.StatusUnprocessableEntity, "", "the press is in the path, not in the body")
		}
		change.Press = in.ID
		return s.do(ctx, op, in.Key, apiPath("presses", in.ID, "prints"), change)
	})
	takesBody[request.CountPrints](api, op.Path, true)
}
