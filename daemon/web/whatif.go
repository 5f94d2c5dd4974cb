package web

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/view"
	"potlifed/model/air"
)

type whatIfQuery struct {
	ID       string  `path:"id"`
	Zone     string  `query:"zone" doc:"as if the batch stood in this zone's air; default: its own"`
	Humidity float64 `query:"dehumidifier_pct" minimum:"0" maximum:"100" default:"100" doc:"as if a dehumidifier kept the air at this relative humidity at most, at the same temperature"`
}

// whatIf is when a batch would end in other air, beside when it will end as it stands.
type whatIf struct {
	ID           string       `json:"id"`
	Zone         string       `json:"zone"`
	TemperatureC float64      `json:"temperature_c"`
	HumidityPct  float64      `json:"humidity_pct"`
	EndsAt       view.Ends    `json:"ends_at"`
	AsNow        view.Ends    `json:"as_now"`
	Assumed      string       `json:"assumed"`
	Quality      view.Quality `json:"quality" doc:"of that air"`
}

func (s *Server) whatIfs(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "what-if", Method: http.MethodGet, Path: base + "batches/{id}/what-if",
		Summary: "When an open batch would end in another zone's air, or with a dehumidifier",
		Errors:  []int{http.StatusNotFound, http.StatusConflict},
	}, s.whatIf)
}

func (s *Server) whatIf(_ context.Context, in *whatIfQuery) (*answer[whatIf], error) {
	snap := s.bench.Snapshot()
	life, ok := snap.Lives[in.ID]
	if !ok {
		return nil, problem(http.StatusNotFound, "", fmt.Sprintf("batch %q is not open, or its hardener is not in yet", in.ID))
	}
	out := whatIf{ID: in.ID, Zone: in.Zone, Assumed: "the air stays about as it is now there and drifts from that; the cup stands as open as it does now"}
	for _, b := range snap.Batches {
		if b.ID == in.ID {
			out.AsNow = *b.EndsAt
			if out.Zone == "" {
				out.Zone = b.Zone
			}
		}
	}
	for _, a := range snap.Air {
		if a.Zone != out.Zone {
			continue
		}
		if a.TemperatureC == nil || a.HumidityPct == nil {
			return nil, problem(http.StatusConflict, "", fmt.Sprintf("zone %q was never measured", out.Zone))
		}
		out.TemperatureC, out.HumidityPct, out.Quality = *a.TemperatureC, min(*a.HumidityPct, in.Humidity), a.Quality
		out.EndsAt = life.In(air.State{TemperatureC: out.TemperatureC, HumidityPct: out.HumidityPct})
		return &answer[whatIf]{out}, nil
	}
	return nil, problem(http.StatusNotFound, "", fmt.Sprintf("there is no zone %q", out.Zone))
}
