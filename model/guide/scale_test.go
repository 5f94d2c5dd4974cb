package guide

import (
	"math"
	"testing"
	"time"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// atScale plays a mix reading by reading, as a service would carry it.
type atScale struct {
	t       *testing.T
	m       Mix
	now     time.Time
	tracker *weigh.Tracker
	rise    *weigh.Rise
	shown   float64
}

func (s *atScale) read(g float64) {
	s.now = s.now.Add(100 * time.Millisecond)
	g = math.Round(g*10) / 10
	r := weigh.Reading{At: s.now, Grams: g, HasWeight: true}
	s.shown = g
	pan, _ := s.tracker.Observe(r, s.m.Pan)
	s.rise.Observe(r)
	s.m = s.m.Weighed(pan)
}

func (s *atScale) stays(g float64) {
	for range 40 {
		s.read(g)
	}
}

func (s *atScale) pours(g float64) {
	from := s.shown
	for i := range 80 {
		s.read(from + g*float64(i+1)/80)
	}
	s.stays(from + g)
}

func (s *atScale) confirms(step Step) {
	s.t.Helper()
	c := Confirm{Step: step}
	c.WeightG, c.Settled = s.tracker.Settled()
	c.RoseAt, _ = s.rise.Above(s.m.Pan.BaseG)
	next, _, err := s.m.Confirm(c, s.now)
	if err != nil {
		s.t.Fatalf("%s: %v; pan %+v", step, err, s.m.Pan)
	}
	s.m = next
}

func TestAMixAtTheScale(t *testing.T) {
	for _, tared := range []bool{false, true} {
		for _, killed := range []bool{false, true} {
			m, err := Start(gloss())
			if err != nil {
				t.Fatal(err)
			}
			s := &atScale{t: t, m: m, now: start, tracker: weigh.NewTracker(0.1), rise: weigh.NewRise(0.1)}
			key := func() {
				if tared {
					s.stays(0)
				}
			}
			s.stays(0)
			s.stays(12)
			s.confirms(Cup)
			key()
			s.pours(40)
			if killed {
				s.tracker, s.rise = weigh.NewTracker(0.1), weigh.NewRise(0.1)
				s.stays(s.shown)
			}
			s.pours(22)
			s.confirms(Ink)
			key()
			from := s.now
			s.pours(15.5)
			s.confirms(Hardener)
			at, ok := s.m.FirstHardener()
			if early := at.Sub(from); !ok || early < 100*time.Millisecond || early > 300*time.Millisecond {
				t.Errorf("tared %v: hardener met ink %v after its pour began", tared, early)
			}
			stood, off := s.shown, 0.0
			if tared {
				off = -74
			}
			s.stays(off) // the cup is in the hand, being stirred
			s.confirms(StirHardener)
			s.stays(stood - 0.6)
			key()
			s.pours(8)
			s.confirms(Thinner)
			s.confirms(StirThinner)
			if s.m.Step != Load {
				t.Fatalf("tared %v, killed %v: at %s", tared, killed, s.m.Step)
			}
			got, want := s.m.Poured(), mix.Amounts{InkG: 62, HardenerG: 15.5, ThinnerG: 8}
			for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
				if math.Abs(got.Of(part)-want.Of(part)) > 0.11 {
					t.Errorf("tared %v, killed %v: %s %v, want %v", tared, killed, part, got.Of(part), want.Of(part))
				}
			}
		}
	}
}
