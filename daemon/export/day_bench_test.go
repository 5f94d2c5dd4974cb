package export

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/journal"
)

// BenchmarkDay exports the newest day of a year, with ten batches a day. Budget on a Pi: 1 s and 20 MB.
func BenchmarkDay(b *testing.B) {
	s := newShop(b)
	for day := range 365 {
		s.at = noon.AddDate(0, 0, day-365)
		s.until = s.at
		for i := range 10 {
			s.mixes(fmt.Sprintf("%s-%d", s.at.Format("0102"), i+1), 120)
		}
		if err := s.j.Write(s.group); err != nil {
			b.Fatal(err)
		}
		s.group = journal.Group{}
	}
	s.follows()
	set := s.settings(b.TempDir())
	set.From, set.To, set.Zone = noon.AddDate(0, 0, -1).Truncate(24*time.Hour), noon.Truncate(24*time.Hour), time.UTC
	b.ReportMetric(heapWhile(func() {
		for b.Loop() {
			if done, err := WriteDays(b.Context(), set, noon); err != nil || len(done) != 1 || done[0].Rows < 100 {
				b.Fatal(done, err)
			}
		}
	}), "MB-heap")
}
