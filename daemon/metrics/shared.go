package metrics

import (
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// sharedFor is for how long scrapes get the same samples while no event comes. The figures of batches
// change twice a second, and no Prometheus scrapes more often than once; with 500 open batches
// the samples of one scrape take some 20 ms to make.
const sharedFor = 500 * time.Millisecond

// shared is a gatherer whose samples are made once for all scrapes that come within sharedFor and before
// the next event: the series of a batch are gone at the first scrape after it was closed.
type shared struct {
	from prometheus.Gatherer
	now  func() time.Time
	seq  func() uint64 // the number of the newest event

	mu       sync.Mutex // guards what follows; held while samples are made, so that others wait for them
	at       time.Time
	after    uint64 // the event after which they were made
	families []*dto.MetricFamily
	err      error
}

// Gather returns the samples, which must not be changed.
func (s *shared) Gather() ([]*dto.MetricFamily, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	seq := s.seq()
	if since := s.now().Sub(s.at); s.at.IsZero() || seq != s.after || since >= sharedFor || since < 0 {
		s.at, s.after = s.now(), seq
		s.families, s.err = s.from.Gather()
	}
	return s.families, s.err
}
