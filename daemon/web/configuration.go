package web

import (
	"context"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// configuration registers the request to reload the configuration.
func (s *Server) configuration(api huma.API) {
	row, _ := request.Find(request.ReloadConfiguration{}.Verb())
	op := operation(api, row.Verb, base+row.Path, row.Summary, http.StatusOK, reflect.TypeFor[view.Configuration]())
	huma.Register(api, op, func(ctx context.Context, in *keyOnly) (*changed, error) {
		return s.do(ctx, op, in.Key, apiPath("configuration", "reload"), request.ReloadConfiguration{})
	})
}
