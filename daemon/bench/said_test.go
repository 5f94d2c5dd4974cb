package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// A scale sends ten lines a second. The snapshots between them say the same, so no text is worded
// again: the limit lies below what the wording alone took for each line.
func TestLineOfAScaleWordsNothingAgain(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pass(10*time.Minute, rooms{}) // the sensors are silent, which a text says with its time
	i := 0
	allocs := testing.AllocsPerRun(500, func() {
		i++
		s.clock.turn(100 * time.Millisecond)
		r := weigh.Reading{Grams: 12 + float64(i%600)/10, HasWeight: true, Stability: weigh.Moving}
		weightReading{scale: "scale-1", reading: r, at: s.clock.is.Mono}.enter(s.b, s.b.clock.now())
		s.b.publish(s.b.clock.now())
	})
	if allocs > 50 {
		t.Errorf("a line of a scale takes %.0f allocations, want at most 50", allocs)
	}
}

func TestSaidAgainWhenItsSubjectChanges(t *testing.T) {
	s := sensor{words: words.Locale{}}
	s.ID = "bench-air"
	for _, c := range []struct {
		of   saidOf
		want string
	}{
		{saidOf{key: "stale", age: 48 * time.Second}, s.words.Say("fault.reading-stale", "sensor", "bench-air", "time", "48\u00a0s")},
		{saidOf{key: "stale", age: 48400 * time.Millisecond}, s.words.Say("fault.reading-stale", "sensor", "bench-air", "time", "48\u00a0s")},
		{saidOf{key: "stale", age: 49 * time.Second}, s.words.Say("fault.reading-stale", "sensor", "bench-air", "time", "49\u00a0s")},
		{saidOf{key: "sensor", fault: health.Absent}, s.words.Say("fault.sensor-absent", "sensor", "bench-air")},
		{saidOf{key: "sensor", fault: health.Implausible}, s.words.Say("fault.sensor-implausible", "sensor", "bench-air")},
		{saidOf{key: "waiting"}, s.words.Say("fault.reading-waiting", "sensor", "bench-air")},
	} {
		if got := s.said.say(c.of, s.word); got != c.want {
			t.Errorf("%+v: %q, want %q", c.of, got, c.want)
		}
	}
}
