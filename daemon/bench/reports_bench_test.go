package bench

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/request"
)

// BenchmarkHourOfReports is an hour in which two presses report each print over MQTT, three a
// second together. It reports the time that a report takes until it is on disk, and by how much
// the journal grows in the second half of the hour, per report and as MB a day. Budget on a Pi 4
// with a good card: 10 ms a report, nearly all of it the card's.
func BenchmarkHourOfReports(b *testing.B) {
	for range b.N {
		dir, c := b.TempDir(), newClock()
		s := openShopOf(b, dir, c, testShop)
		one, reports, before := uint64(1), 0, int64(0)
		ref := 0
		for second := range 3600 {
			c.turn(time.Second)
			s.b.tick(s.b.clock.now())
			for _, press := range []string{"press-1", "press-2", "press-1"} {
				ref++
				w := &waiter{answer: make(chan answer, 1), request: request.Request{
					Change: request.CountPrints{Press: press, Add: &one}, By: "tester", Key: fmt.Sprintf("mqtt:press-%d", ref), Hash: fmt.Sprintf("%064d", ref),
				}}
				s.enter(w)
				if a := <-w.answer; a.err != nil {
					b.Fatal(a.err)
				}
				reports++
			}
			if second == 1800 {
				before, reports = usedBytes(b, s, dir), 0
			}
		}
		grown := float64(usedBytes(b, s, dir) - before)
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/(2*float64(reports)), "µs/report")
		b.ReportMetric(grown/float64(reports), "B/report")
		b.ReportMetric(grown*48/1e6, "MB/day")
		s.crash()
	}
}

// usedBytes returns the bytes in use in the journal's file after a checkpoint, which removes the
// reports that are not needed any more.
func usedBytes(b *testing.B, s *shop, dir string) int64 {
	b.Helper()
	s.b.write.checkpoint = true
	s.settle()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, journal.FileName)+"?mode=ro")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	var pages, free, size int64
	if err := db.QueryRow(`SELECT page_count, freelist_count, page_size FROM pragma_page_count(), pragma_freelist_count(), pragma_page_size()`).Scan(&pages, &free, &size); err != nil {
		b.Fatal(err)
	}
	return (pages - free) * size
}
