package export

import (
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
)

// heapWhile returns the largest heap in use while f runs, in MB.
func heapWhile(f func()) float64 {
	runtime.GC()
	stop, most := make(chan struct{}), make(chan uint64)
	go func() {
		largest := uint64(0)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			largest = max(largest, m.HeapInuse)
			select {
			case <-stop:
				most <- largest
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	f()
	close(stop)
	return float64(<-most) / 1e6
}

// follows stores the history of the journal, as the daemon does.
func (s *shop) follows() {
	s.t.Helper()
	h := history.New(history.Settings{Dir: s.dir, Journal: s.j, Log: slog.New(slog.DiscardHandler)})
	for range 1 + s.seq/1000 { // each takes up to 2,000 records
		if err := h.Fresh(s.t.Context()); err != nil {
			s.t.Fatal(err)
		}
	}
	if err := errors.Join(h.Save(s.t.Context()), h.Close()); err != nil {
		s.t.Fatal(err)
	}
}

// BenchmarkEvents exports a quarter and a year of a journal: each day four batches with their pours, prints, rejects
// and air, and twenty changes of alarms. The memory in use must not depend on the length. Budget on a Pi: 2 MB/s, 64 MB.
func BenchmarkEvents(b *testing.B) {
	for _, days := range []int{90, 365} {
		b.Run(fmt.Sprint(days, "-days"), func(b *testing.B) {
			s := newShop(b)
			for day := range days {
				s.at = noon.AddDate(0, 0, day-days)
				s.until = s.at
				for i := range 4 {
					s.mixes(fmt.Sprintf("%s-%d", s.at.Format("0102"), i+1), 120)
				}
				for range 10 {
					s.at = s.at.Add(time.Minute)
					s.add(record.AlarmRaised{Name: "sensor-stale", Subject: "hall-1", Priority: "medium", Text: "No reading from hall-1 for 10 minutes."})
					s.add(record.AlarmReturned{Name: "sensor-stale", Subject: "hall-1"})
				}
				if err := s.j.Write(s.group); err != nil {
					b.Fatal(err)
				}
				s.group = journal.Group{}
			}
			s.follows()
			set := s.settings(b.TempDir())
			set.From, set.To = noon.AddDate(-2, 0, 0), noon.AddDate(1, 0, 0)
			bytes, rows := int64(0), int64(0)
			b.ReportMetric(heapWhile(func() {
				for b.Loop() {
					bytes, rows = 0, 0
					done, err := Write(b.Context(), set)
					if err != nil {
						b.Fatal(err)
					}
					for _, w := range done {
						bytes, rows = bytes+w.Bytes, rows+w.Rows
					}
				}
			}), "MB-heap")
			b.SetBytes(bytes)
			b.ReportMetric(float64(rows), "rows")
		})
	}
}
