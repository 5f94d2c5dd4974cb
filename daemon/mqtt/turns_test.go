package mqtt

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/actor"
)

// TestTurns puts and takes commands of several users in any order: each user's commands stay in
// order, and a user whose command waits is passed by each other one at most once.
func TestTurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := newTurns()
		put, taken := map[actor.Name]int{}, map[actor.Name]int{}
		since := map[actor.Name]map[actor.Name]int{} // whose turns a user has waited through
		waiting := 0
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			if rapid.IntRange(0, 3).Draw(t, "put") > 0 {
				by := actor.Name(rapid.SampledFrom([]string{"flood", "flood", "flood", "lamp", "wall"}).Draw(t, "by"))
				if q.put(Given{By: by, Verb: fmt.Sprint(put[by])}) {
					if put[by]++; since[by] == nil {
						since[by] = map[actor.Name]int{}
					}
					waiting++
				} else if put[by]-taken[by] < commandQueue && waiting < allCommandQueue {
					t.Fatalf("%s has %d waiting and was refused", by, put[by]-taken[by])
				}
				continue
			}
			in, ok := q.next()
			if ok != (waiting > 0) {
				t.Fatalf("%d wait, next says %v", waiting, ok)
			}
			if !ok {
				continue
			}
			waiting--
			if in.Verb != fmt.Sprint(taken[in.By]) {
				t.Fatalf("%s: command %s before command %d", in.By, in.Verb, taken[in.By])
			}
			taken[in.By]++
			delete(since, in.By)
			if put[in.By] > taken[in.By] {
				since[in.By] = map[actor.Name]int{}
			}
			for by, passed := range since {
				if by == in.By {
					continue
				}
				if passed[in.By]++; passed[in.By] > 1 {
					t.Fatalf("%s was passed twice by %s", by, in.By)
				}
			}
		}
	})
}

// TestAFloodIsLoggedOnceAMinute refuses thousands of commands: one line at once, one a minute
// later with the count, and half of the answers' queue stays free for commands that were
// carried out.
func TestAFloodIsLoggedOnceAMinute(t *testing.T) {
	var s sparse
	at := time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)
	var lines []string
	for i := range 1260 * 90 {
		if n, due := s.line(at.Add(time.Duration(i) * time.Second / 1260)); due {
			lines = append(lines, fmt.Sprint(n))
		}
	}
	if got := strings.Join(lines, " "); got != "1 75600" {
		t.Errorf("lines for %s commands, want one for the first and one for a minute's", got)
	}
	r := newFixture()
	p := &Publisher{clock: r.clock, log: slog.New(slog.DiscardHandler), commands: newTurns(), answers: make(chan Answer, answerQueue), wake: make(chan struct{}, 1)}
	for i := range 10_000 {
		p.take(Given{Verb: "good", Payload: fmt.Appendf(nil, `{"ref":"%d"}`, i), By: "flood"})
	}
	if n := len(p.answers); n != busyAnswers {
		t.Errorf("%d answers say that there is no room, want %d", n, busyAnswers)
	}
	p.take(Given{Verb: "good", Payload: []byte(`{"ref":"honest"}`), By: "lamp"})
	p.commands.next()
	if in, ok := p.commands.next(); !ok || in.By != "lamp" {
		t.Errorf("the second command is of %q, want the honest user's", in.By)
	}
}
