package metrics

import (
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// Scrapes that come together get the samples of one; a later one gets new ones, also after the clock
// was set back.
func TestScrapesShareTheirSamples(t *testing.T) {
	made, seq, now := 0, uint64(1), time.Date(2026, 6, 12, 9, 30, 0, 0, time.UTC)
	s := &shared{now: func() time.Time { return now }, seq: func() uint64 { return seq }, from: prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		made++
		return nil, nil
	})}
	for _, step := range []struct {
		later time.Duration
		want  int
	}{{0, 1}, {sharedFor / 2, 1}, {sharedFor/2 - 1, 1}, {1, 2}, {0, 2}, {-time.Hour, 3}, {sharedFor, 4}} {
		now = now.Add(step.later)
		if _, err := s.Gather(); err != nil || made != step.want {
			t.Fatalf("%v later: samples were made %d times, want %d (%v)", step.later, made, step.want, err)
		}
	}
	seq++
	if _, err := s.Gather(); err != nil || made != 5 {
		t.Errorf("after an event samples were made %d times, want 5 (%v)", made, err)
	}
}
