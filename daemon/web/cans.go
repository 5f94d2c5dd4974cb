package web

import (
	"context"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

type canList struct {
	Cans []view.Can `json:"cans" doc:"the registered cans"`
	Seq  uint64     `json:"seq" doc:"number of the newest event that the answer includes"`
}

// cans registers the cans that a shop keeps account of.
func (s *Server) cans(api huma.API) {
	list(s, api, "cans", "The cans of ink, hardener and thinner, the empty ones last", func(n *view.Snapshot) canList { return canList{orEmpty(n.Cans), n.Seq} })
	row, _ := request.Find(request.MakeCan{}.Verb())
	read := reader(api, row)
	op := operation(api, "make-can", base+row.Path, row.Summary, http.StatusCreated, reflect.TypeFor[view.Can]())
	huma.Register(api, op, func(ctx context.Context, in *keyOnly) (*changed, error) {
		change, err := read(bodyOf(ctx))
		if err != nil {
			return nil, err
		}
		return s.create(ctx, op, in.Key, "cans", change)
	})
	takesBody(api, row)
}
