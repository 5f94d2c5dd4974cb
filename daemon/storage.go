package daemon

import (
	"path/filepath"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/metrics"
	"potlifed/daemon/web"
)

// storage returns the files in which the bench stores its data. It does not wait.
func (s *service) storage() []web.Stored {
	fault, past := s.bench.Snapshot().JournalError, s.history.State()
	return []web.Stored{
		{File: "journal", Bytes: history.SizeOf(filepath.Join(s.Shop.DataDir, journal.FileName)), OK: fault == "", Detail: fault},
		{
			File: "history", Bytes: past.Bytes, LimitBytes: history.MostBytes, OK: past.Detail == "", Detail: past.Detail, Dropped: past.Dropped,
		},
	}
}

// storedForMetrics returns the same for the metrics.
func (s *service) storedForMetrics() map[string]metrics.Stored {
	files := map[string]metrics.Stored{}
	for _, f := range s.storage() {
		files[f.File] = metrics.Stored{Bytes: f.Bytes, Writable: f.OK}
	}
	return files
}
