package web

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/precision"
	"potlifed/daemon/view"
	"potlifed/model/air"
)

type whatIfQuery struct {
	ID       string  `path:"id" doc:"id of the batch"`
	Zone     string  `query:"zone" doc:"id of the zone whose air is assumed; default: the batch's own"`
	Humidity float64 `query:"dehumidifier_pct" minimum:"0" maximum:"100" default:"100" doc:"a dehumidifier keeps the air at or below this relative humidity in %, at the same temperature"`
}

// whatIf is when a batch would end in other air, beside when it will end as it stands.
type whatIf struct {
	ID           string       `json:"id" doc:"id of the batch"`
	Zone         string       `json:"zone" doc:"id of the zone whose air is assumed"`
	TemperatureC float64      `json:"temperature_c" doc:"assumed air temperature in °C"`
	HumidityPct  float64      `json:"humidity_pct" doc:"assumed relative humidity in %"`
	EndsAt       view.Ends    `json:"ends_at" doc:"when the pot life would end in that air"`
	AsNow        view.Ends    `json:"as_now" doc:"when it ends where the batch is now"`
	Assumed      string       `json:"assumed" doc:"what the answer assumes, in a sentence"`
	Quality      view.Quality `json:"quality" doc:"how far the zone's air can be relied on: good, uncertain or bad"`
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
		return nil, noLifeYet(in.ID)
	}
	out := whatIf{ID: in.ID, Zone: in.Zone, Assumed: s.settings.Locale.Say("assumes.air-stays")}
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
		if a.Measured == nil {
			return nil, problem(http.StatusConflict, "", fmt.Sprintf("zone %q was never measured", out.Zone)).Saying("air-unmeasured", "zone", out.Zone)
		}
		assumed := air.State{TemperatureC: a.Measured.TemperatureC, HumidityPct: min(a.Measured.HumidityPct, in.Humidity)}
		out.TemperatureC, out.HumidityPct, out.Quality = precision.Celsius(assumed.TemperatureC), precision.Percent(assumed.HumidityPct), a.Quality
		out.EndsAt = life.In(assumed)
		return &answer[whatIf]{out}, nil
	}
	return nil, noZone(out.Zone)
}
