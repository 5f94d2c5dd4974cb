package web

import (
	"context"
	"net/http"
	"reflect"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/neighbours"
)

type neighbourList struct {
	Neighbours []neighbours.Bench `json:"neighbours" doc:"the other benches"`
	Seq        uint64             `json:"seq" doc:"number of the newest event that the answer includes"`
}

// others registers the list of other benches, as this one hears them.
func (s *Server) others(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "neighbours", Method: http.MethodGet, Path: base + "neighbours",
		Summary:     "The presses of other benches, as this one hears them",
		Description: "What is old is unknown, with as_of for its age. Ends are by this bench's clock.",
	}, func(context.Context, *struct{}) (*answer[neighbourList], error) {
		return &answer[neighbourList]{neighbourList{orEmpty(s.settings.Neighbours()), s.bench.Snapshot().Seq}}, nil
	})
}

// neighbourKind has no refresh: what a reader was sent holds until it changes.
var neighbourKind = kind[neighbours.Bench]{
	event: "neighbour",
	key:   func(b neighbours.Bench) string { return b.ID },
	same: func(a, b neighbours.Bench) bool {
		return a.Contact == b.Contact && reflect.DeepEqual(a.Presses, b.Presses) && slices.EqualFunc(a.Batches, b.Batches, sameNeighbourBatch)
	},
}

func sameNeighbourBatch(a, b neighbours.Batch) bool {
	if !sameEnds(a.EndsAt, b.EndsAt) {
		return false
	}
	a.EndsAt, b.EndsAt = nil, nil
	return reflect.DeepEqual(a, b)
}
