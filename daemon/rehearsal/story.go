package rehearsal

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// story prints one line for each thing that happens. Whoever takes part may tell.
type story struct {
	clock *Paced
	began time.Time

	mu  sync.Mutex
	out io.Writer
	err error // of the first line that could not be written
}

// tell prints what happened, behind the bench's time and the seconds that have really
// gone by.
func (s *story) tell(format string, args ...any) {
	at := s.clock.Now().Wall.Local().Format(time.TimeOnly)
	s.line("%s %4.0f s  %s", at, time.Since(s.began).Seconds(), fmt.Sprintf(format, args...))
}

// line prints a line without a time.
func (s *story) line(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, err := fmt.Fprintf(s.out, format+"\n", args...); err != nil && s.err == nil {
		s.err = err
	}
}

// fault is why the story could not be told, nil when it could.
func (s *story) fault() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// clockTime is a moment as a person at the bench says it.
func clockTime(t time.Time) string { return t.Local().Format("15:04") }

// inWords is a stretch of time as a person says it.
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
