package rehearsal

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// story prints one line for each event of the demo. It may be used from any goroutine.
type story struct {
	clock *Paced
	began time.Time

	mu  sync.Mutex
	out io.Writer
	// broken receives why a line could not be written, the first time; capacity 1.
	broken chan error
}

func newStory(c *Paced, out io.Writer) *story {
	return &story{clock: c, began: time.Now(), out: out, broken: make(chan error, 1)}
}

// tell prints an event after the bench's time and the real seconds that have passed.
func (s *story) tell(format string, args ...any) {
	at := s.clock.Now().Wall.Local().Format(time.TimeOnly)
	s.line("%s %4.0f s  %s", at, time.Since(s.began).Seconds(), fmt.Sprintf(format, args...))
}

// line prints a line without a time.
func (s *story) line(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, err := fmt.Fprintf(s.out, format+"\n", args...); err != nil {
		select {
		case s.broken <- fmt.Errorf("the story cannot be told: %w", err):
		default:
		}
	}
}

// clockTime returns a time of day as a person at the bench says it.
func clockTime(t time.Time) string { return t.Local().Format("15:04") }

// inWords returns a duration as a person says it.
func inWords(d time.Duration) string {
	d = d.Round(time.Minute)
	switch {
	case d < time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d%time.Hour == 0:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
}
