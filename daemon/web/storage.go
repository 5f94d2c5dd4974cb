package web

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// Stored is a file in which the bench stores its data.
type Stored struct {
	File       string `json:"file" enum:"journal,history" doc:"journal: events and the air that batches lived in; history: what is stored for years"`
	Bytes      int64  `json:"bytes" doc:"size on disk with its log, in bytes"`
	LimitBytes int64  `json:"limit_bytes,omitempty" doc:"size from which on the oldest readings are removed before their time, in bytes"`
	OK         bool   `json:"ok" doc:"it can be written"`
	Detail     string `json:"detail,omitempty" doc:"why it cannot be written; the bench goes on without it"`
	Dropped    uint64 `json:"dropped_readings" doc:"readings that were not stored since the start"`
}

type storageList struct {
	Storage []Stored `json:"storage" doc:"the files"`
	Free    *int64   `json:"free_bytes,omitempty" doc:"room on the disk of these files in bytes; absent where it is not known"`
	Version string   `json:"version" doc:"version of the program"`
	Seq     uint64   `json:"seq" doc:"number of the newest event that the answer includes"`
}

// storage registers what the bench's files take on the disk.
func (s *Server) storage(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "storage", Method: http.MethodGet, Path: base + "storage", Summary: "The files in which the bench stores its data, with their sizes",
	}, func(context.Context, *struct{}) (*answer[storageList], error) {
		out := storageList{[]Stored{}, nil, s.settings.Version, s.bench.Snapshot().Seq}
		if s.settings.Storage != nil {
			out.Storage = s.settings.Storage()
		}
		if s.settings.Free != nil {
			out.Free = s.settings.Free()
		}
		return &answer[storageList]{out}, nil
	})
}
