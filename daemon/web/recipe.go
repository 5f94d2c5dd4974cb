package web

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

type recipeQuery struct {
	Ink         string  `query:"ink" required:"true" doc:"id of the ink"`
	Scale       string  `query:"scale" doc:"id of the scale; may be left out where there is only one"`
	Press       string  `query:"press" doc:"id of the press that it is for"`
	Cup         string  `query:"cup" doc:"id of the kind of cup, instead of press"`
	ColourClass string  `query:"colour_class" enum:"dark,light,heavy-light" default:"dark" doc:"colour class, from which the thinner share starts"`
	Artwork     string  `query:"artwork" enum:"fine-detail,normal,large-solid" default:"normal" doc:"kind of artwork, from which the thinner share starts"`
	InkG        float64 `query:"ink_g" minimum:"0" maximum:"100000" doc:"mass of ink in g; 0, the default, for the cup's minimum"`
	ThinnerPct  float64 `query:"thinner_pct" minimum:"-1" maximum:"100" default:"-1" doc:"thinner in % of ink and hardener together; -1, the default, for the usual start"`
}

func (s *Server) recipes(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "recipe", Method: http.MethodGet, Path: base + "recipe",
		Summary: "What a mix would come to before it is begun: targets, why, and how well the scale knows them",
		Errors:  []int{http.StatusUnprocessableEntity},
	}, func(_ context.Context, in *recipeQuery) (*answer[view.Recipe], error) {
		c := request.StartMix{Ink: in.Ink, Scale: in.Scale, Press: in.Press, Cup: in.Cup, ColourClass: in.ColourClass, Artwork: in.Artwork}
		if in.InkG > 0 {
			c.InkG = &in.InkG
		}
		if in.ThinnerPct >= 0 {
			c.ThinnerPct = &in.ThinnerPct
		}
		recipe, err := s.bench.Recipe(c)
		if err != nil {
			return nil, s.refusalProblem(err)
		}
		return &answer[view.Recipe]{recipe}, nil
	})
}
