package bench

import (
	"time"

	"potlifed/daemon/words"
	"potlifed/model/health"
)

// said keeps a text and what it was worded from. A snapshot is made for each line of a scale and
// says mostly what the one before said; wording it each time would cost as much as the rest of the
// snapshot.
type said struct {
	of   saidOf
	text string
}

// saidOf is what a text about an instrument or a zone is worded from.
type saidOf struct {
	key   string
	fault health.Fault
	age   time.Duration // as it is shown
}

// say returns the text of what it is about; word makes it when it is not the one that was kept.
// An age is passed to word as it is shown.
func (s *said) say(of saidOf, word func(saidOf) string) string {
	of.age = words.ShownDuration(of.age)
	if s.text == "" || s.of != of {
		s.of, s.text = of, word(of)
	}
	return s.text
}
