package web

import (
	"context"
	"encoding/json"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

type canList struct {
	Cans []view.Can `json:"cans"`
	Seq  uint64     `json:"seq"`
}

// cans registers the cans that a shop keeps account of.
func (s *Server) cans(api huma.API) {
	list(s, api, "cans", "The cans of ink, hardener and thinner, the empty ones last", func(n *view.Snapshot) canList { return canList{orEmpty(n.Cans), n.Seq} })
	read := reader[request.MakeCan](api, true)
	op := operation(api, "make-can", base+"cans", "Make a can known", http.StatusCreated, reflect.TypeFor[view.Can]())
	huma.Register(api, op, func(ctx context.Context, in *onBatches) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		out, err := s.do(ctx, op, in.Key, apiPath("cans"), change)
		if err != nil {
			return nil, err
		}
		var made struct{ ID string }
		if json.Unmarshal(out.Body, &made) == nil && made.ID != "" {
			out.Location = apiPath("cans", made.ID)
		}
		return out, nil
	})
	takesBody[request.MakeCan](api, op.Path, true)
	changeCan(s, api, "Say since when a can is open; default today", func(c *request.OpenCan) *string { return &c.Can })
	changeCan(s, api, "Say that a can was stirred to the bottom", func(c *request.StirCan) *string { return &c.Can })
	changeCan(s, api, "Say that a can is empty, or that it is not", func(c *request.EmptyCan) *string { return &c.Can })
}

// changeCan registers a change of one can under the change's own verb. place is where
// the change keeps the can's id. Its body may not name a can: confirm has that field, so
// it is refused here.
func changeCan[C request.Change](s *Server, api huma.API, summary string, place func(c *C) *string) {
	var none C
	verb := none.Verb()
	read := reader[C](api, false)
	op := operation(api, verb, base+"cans/{id}/"+verb, summary, http.StatusOK, reflect.TypeFor[view.Can]())
	huma.Register(api, op, func(ctx context.Context, in *onDevice) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		can := place(&change)
		if *can != "" {
			return nil, problem(http.StatusUnprocessableEntity, "", "the can is in the path, not in the body")
		}
		*can = in.ID
		return s.do(ctx, op, in.Key, apiPath("cans", in.ID, verb), change)
	})
	takesBody[C](api, op.Path, false)
}
