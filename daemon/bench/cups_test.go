package bench

import (
	"slices"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
)

// begins starts a mix of so much ink and brings it to stir-hardener; the cup stays on
// the scale, and its weight is returned.
func (s *shop) begins(ink float64) (id string, gross float64) {
	s.t.Helper()
	id = s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 12+ink, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	s.pours(12+ink, 12+ink*1.25, 3*time.Second)
	v := s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	if *v.Step != "stir-hardener" {
		s.t.Fatalf("at %s, want stir-hardener", *v.Step)
	}
	return id, 12 + ink*1.25
}

// lifts takes everything off the scale, and puts a cup down.
func (s *shop) lifts() { s.weighs(0, 2*time.Second) }

func (s *shop) putsDown(g float64) {
	s.turnTo(g)
	s.weighs(g, 2*time.Second)
}

// turnTo is a cup being set down: two readings on the way.
func (s *shop) turnTo(g float64) {
	for _, share := range []float64{0.4, 0.9} {
		s.reads(g * share)
	}
}

func (s *shop) scaleView() view.Scale { return s.b.Snapshot().Scales[0] }

func TestMixesShareAScale(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a, grossA := s.begins(60)
	s.lifts() // it is stirred in the hand
	b, grossB := s.begins(70)
	if v := s.batch(a); !v.Aside || v.CupWeighsG == nil || !near(*v.CupWeighsG, grossA) || *v.Step != "stir-hardener" {
		t.Fatalf("the first mix is %+v", v)
	}
	if on := s.scaleView().Batch; on != b {
		t.Fatalf("weighed is %s, want %s", on, b)
	}
	// The first is stirred while the second stands on the scale.
	if v := s.must(request.ConfirmStep{Batch: a, Step: "stir-hardener"}); *v.Step != "thinner" {
		t.Fatalf("stirred aside it is at %s", *v.Step)
	}
	if _, refusal := s.ask(request.ConfirmStep{Batch: a, Step: "thinner"}); refusal == nil || refusal.Code != "not-on-scale" {
		t.Fatalf("confirmed although it is not on the scale: %v", refusal)
	}
	if _, refusal := s.ask(request.CorrectPour{Batch: a, Undo: true}); refusal == nil || refusal.Code != "not-on-scale" {
		t.Fatalf("undone although it is not on the scale: %v", refusal)
	}
	// A cup put back is known by its weight.
	s.lifts()
	s.putsDown(grossA - 1) // a stick took a gram
	if on := s.scaleView().Batch; on != a || !s.batch(b).Aside {
		t.Fatalf("weighed is %s, want %s", on, a)
	}
	s.pours(grossA-1, grossA-1+7.5, 2*time.Second)
	v := s.must(request.ConfirmStep{Batch: a, Step: "thinner"})
	if p := poured(v); !near(p["thinner"], 7.5) || !near(p["ink"], 60) || !near(p["hardener"], 15) {
		t.Errorf("poured %v", p)
	}
	// One tap takes the other up before its cup is there.
	s.lifts()
	s.must(request.TakeUp{Batch: b})
	if _, refusal := s.ask(request.ConfirmStep{Batch: b, Step: "stir-hardener"}); refusal != nil {
		t.Fatalf("a cup in the hand cannot be said to be stirred: %v", refusal)
	}
	if _, refusal := s.ask(request.ConfirmStep{Batch: b, Step: "thinner"}); refusal == nil {
		t.Fatal("thinner was confirmed with nothing on the scale")
	}
	s.putsDown(grossB)
	s.pours(grossB, grossB+8.8, 2*time.Second)
	if p := poured(s.must(request.ConfirmStep{Batch: b, Step: "thinner"})); !near(p["thinner"], 8.8) {
		t.Errorf("poured %v", p)
	}
	if *s.batch(a).AgeS < 30 || *s.batch(b).AgeS < 5 {
		t.Error("the life of a mix that waits does not run")
	}
}

// Two cups of about one weight are never guessed at: nothing is confirmed until a
// person has said which it is.
func TestTwoCupsThatFitAreAskedAbout(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a, gross := s.begins(60)
	s.lifts()
	b, _ := s.begins(60)
	s.must(request.ConfirmStep{Batch: b, Step: "stir-hardener"})
	s.lifts()
	s.putsDown(gross)
	if asked := s.scaleView().WhichCup; !slices.Equal(asked, []string{a, b}) {
		t.Fatalf("asked about %v", asked)
	}
	s.pours(gross, gross+7.5, 2*time.Second) // somebody pours before they answer
	if s.scaleView().Pouring != nil {
		t.Error("a bar is shown while it is not known whose cup that is")
	}
	if _, refusal := s.ask(request.ConfirmStep{Batch: b, Step: "thinner"}); refusal == nil || refusal.Code != "which-cup" {
		t.Fatalf("confirmed for a cup that may be another: %v", refusal)
	}
	v := s.must(request.TakeUp{Batch: a})
	if v.Aside || !s.batch(b).Aside || *v.Step != "stir-hardener" {
		t.Fatalf("taken up: %+v", v)
	}
	// What was poured before the stir is thinner that came early.
	if _, refusal := s.ask(request.ConfirmStep{Batch: a, Step: "stir-hardener"}); refusal == nil || refusal.Code != "order" {
		t.Fatalf("thinner before the stir: %v", refusal)
	}
	if p := poured(s.batch(b)); p["thinner"] != 0 {
		t.Errorf("the other mix got %v", p)
	}
	// The question is asked again for each cup that is set down, and ends when it is lifted.
	s.lifts()
	s.putsDown(gross)
	if len(s.scaleView().WhichCup) == 0 {
		t.Fatal("not asked")
	}
	s.lifts()
	if asked := s.scaleView().WhichCup; len(asked) != 0 {
		t.Errorf("asked about %v with nothing on the scale", asked)
	}
	s.putsDown(gross)
	s.must(request.TakeUp{Batch: a}) // it is the one that is weighed
	if asked := s.scaleView().WhichCup; len(asked) != 0 {
		t.Errorf("answered, and still asked about %v", asked)
	}
}

func TestTakingUpIsRefusedWhereItWouldBeWrong(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a, grossA := s.begins(60)
	s.lifts()
	b, grossB := s.begins(70)
	code := func(c request.Change) string {
		t.Helper()
		_, refusal := s.ask(c)
		if refusal == nil {
			return "taken"
		}
		return refusal.Code
	}
	if got := code(request.TakeUp{Batch: a}); got != "other-cup" {
		t.Errorf("the other's cup still stands there: %s", got)
	}
	s.lifts()
	s.putsDown(40)
	if got := code(request.TakeUp{Batch: a}); got != "other-weight" {
		t.Errorf("a cup of another weight: %s", got)
	}
	v := s.must(request.TakeUp{Batch: a, Override: "half of it was spilled"})
	if v.Aside {
		t.Error("a reason takes it up all the same")
	}
	s.must(request.ConfirmStep{Batch: a, Step: "stir-hardener"})
	s.pours(40, 43, 2*time.Second)
	if _, refusal := s.ask(request.StartMix{Ink: "dial-satin", Press: "press-1"}); refusal == nil || refusal.Title != "scale in use" {
		t.Errorf("another mix in the middle of a pour: %v", refusal)
	}
	if _, refusal := s.ask(request.TakeUp{Batch: b}); refusal == nil || refusal.Title != "scale in use" {
		t.Errorf("another is taken up in the middle of a pour: %v", refusal)
	}
	s.pours(43, 47.5, 2*time.Second)
	s.must(request.ConfirmStep{Batch: a, Step: "thinner"})
	// An empty cup is no full one.
	c := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(grossB, 2*time.Second)
	if got := code(request.ConfirmStep{Batch: c, Step: "cup"}); got != "which-cup" {
		t.Errorf("a full cup of another mix as the empty one: %s", got)
	}
	_ = grossA
}

// TestTareBetweenMixes: with the scale tared in each step, the cups are known by what
// they weigh above the empty pan.
func TestTareBetweenMixes(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a, grossA := s.begins(60)
	s.lifts()
	b, grossB := s.begins(70)
	s.must(request.ConfirmStep{Batch: b, Step: "stir-hardener"})
	s.weighs(0, 3*time.Second) // the tare key
	s.pours(0, 8.8, 8*time.Second)
	if asked := s.scaleView().WhichCup; len(asked) != 0 {
		t.Fatalf("a tare and a pour, and asked about %v", asked)
	}
	if p := poured(s.must(request.ConfirmStep{Batch: b, Step: "thinner"})); !near(p["thinner"], 8.8) {
		t.Fatalf("poured %v", p)
	}
	s.weighs(-grossB, 2*time.Second) // lifted from the tared scale
	s.reads(-grossB + grossA/2)
	s.weighs(grossA-grossB, 2*time.Second)
	if on := s.scaleView().Batch; on != a {
		t.Fatalf("weighed is %s, want %s; asked %v", on, a, s.scaleView().WhichCup)
	}
	s.must(request.ConfirmStep{Batch: a, Step: "stir-hardener"})
	s.pours(grossA-grossB, grossA-grossB+7.5, 2*time.Second)
	if p := poured(s.must(request.ConfirmStep{Batch: a, Step: "thinner"})); !near(p["thinner"], 7.5) {
		t.Errorf("poured %v", p)
	}
}

// TestACrashWhileMixesWait: after a start nothing is known of what stands on the scale.
func TestACrashWhileMixesWait(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(6*time.Second, both(mild))
	a, gross := s.begins(60)
	s.lifts()
	b, _ := s.begins(60)
	s.must(request.ConfirmStep{Batch: b, Step: "stir-hardener"})
	s.crash()
	c.turn(20 * time.Second)
	s = openShop(t, dir, c)
	defer func() { s.crash() }()
	s.weighs(gross, 2*time.Second)
	if asked := s.scaleView().WhichCup; !slices.Equal(asked, []string{a, b}) {
		t.Errorf("somebody may have changed the cups, and asked was %v", asked)
	}
	if !s.batch(a).Aside || s.batch(b).Aside {
		t.Error("which mix is weighed does not survive")
	}
}

// TestAnEmptyCupIsNoPour: an empty cup that is set down in place of the one that was
// lifted shows what a tare and a quick pour would show.
func TestAnEmptyCupIsNoPour(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	id, gross := s.begins(60)
	s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"})
	s.lifts()
	s.putsDown(11.8)
	if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "thinner"}); refusal == nil || refusal.Code != "ambiguous" {
		t.Fatalf("an empty cup as 11.8 g of thinner: %v", refusal)
	}
	lifted := false
	if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "thinner", Tared: &lifted}); refusal == nil {
		t.Fatal("thinner was confirmed with another cup on the scale")
	}
	s.lifts()
	s.putsDown(gross)
	s.pours(gross, gross+7.5, 2*time.Second)
	_, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "thinner"})
	if refusal != nil && refusal.Code == "ambiguous" {
		_, refusal = s.ask(request.ConfirmStep{Batch: id, Step: "thinner", Tared: &lifted})
	}
	if p := poured(s.batch(id)); refusal != nil || !near(p["thinner"], 7.5) {
		t.Errorf("poured %v; %v", p, refusal)
	}
}

// inked starts a mix of so much ink and takes its ink; its cup of 12 g stays on the scale.
func (s *shop) inked(ink float64) string {
	s.t.Helper()
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 12+ink, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	return id
}

// A mix whose pour is not taken yet is not set aside for one whose cup was set down and tared: what
// its cup weighs would not be known, and its weight would count as a pour of the other.
func TestAMixWithAPourNotTakenIsNotSetAside(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a := s.inked(62)
	s.lifts()
	b := s.inked(70)
	s.pours(82, 99.5, 3*time.Second) // its hardener, which nobody confirms
	s.lifts()
	s.putsDown(74)
	if asked := s.scaleView().WhichCup; !slices.Equal(asked, []string{a, b}) {
		t.Fatalf("asked about %v", asked)
	}
	s.weighs(0, 2*time.Second) // tared with the cup of the first on it
	if _, refusal := s.ask(request.TakeUp{Batch: a}); refusal == nil || refusal.Title != "scale in use" {
		t.Fatalf("taken up although a pour of %s is not taken: %v", b, refusal)
	}
	// Its own cup, back on the scale, ends the question.
	s.weighs(-74, 2*time.Second)
	s.weighs(0, 2*time.Second) // tared empty
	s.putsDown(99.5)
	if on := s.scaleView().Batch; on != b {
		t.Fatalf("weighed is %q, want %s", on, b)
	}
	if slices.Contains(s.scaleView().WhichCup, b) {
		s.must(request.TakeUp{Batch: b})
	}
	tared := false // the bench asks, since the scale went to zero at once
	v := s.must(request.ConfirmStep{Batch: b, Step: "hardener", Tared: &tared})
	if p := poured(v); !near(p["hardener"], 17.5) {
		t.Errorf("poured %v", p)
	}
}

// TestAnotherCupIsNoPour: while the cup is off the scale, a cup of another kind that is set down is lighter than half of
// what stood there, as a pour after a tare may be. It is asked about at once, with the weight that is expected, and
// once the right cup is back nobody is asked any more.
func TestAnotherCupIsNoPour(t *testing.T) {
	for _, at := range []guide.Step{guide.Ink, guide.Hardener} {
		t.Run(string(at), func(t *testing.T) {
			s := openShop(t, t.TempDir(), newClock())
			defer s.crash()
			s.pass(6*time.Second, both(mild))
			ink := 60.0
			id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
			s.weighs(12, 2*time.Second)
			s.must(request.ConfirmStep{Batch: id, Step: "cup"})
			gross, part := 52.0, "ink"
			s.pours(12, gross, 6*time.Second)
			if at == guide.Hardener {
				s.pours(gross, 72, 2*time.Second)
				s.must(request.ConfirmStep{Batch: id, Step: "ink"})
				gross, part = 72, "hardener"
			}
			s.lifts()
			if v := s.scaleView(); v.Pouring != nil || v.CupBackG == nil || !near(*v.CupBackG, gross) {
				t.Fatalf("with the cup off the scale: %+v", v)
			}
			s.putsDown(25)
			s.weighs(25, 8*time.Second) // it stands there for a while
			if v := s.scaleView(); v.Pouring != nil || v.CupBackG == nil || !near(*v.CupBackG, gross) {
				t.Fatalf("another cup of 25 g is a pour: %+v", v)
			}
			if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: string(at)}); refusal == nil || refusal.Code != "ambiguous" {
				t.Fatalf("another cup was confirmed as %s: %v", part, refusal)
			}
			if !s.b.state.Batches[id].MixedAt.IsZero() {
				t.Error("another cup began the pot life")
			}
			s.lifts()
			s.putsDown(gross)
			s.weighs(gross, 2*time.Second)
			if v := s.scaleView(); v.Pouring == nil || v.CupBackG != nil {
				t.Fatalf("the right cup is back: %+v", v)
			}
			s.pours(gross, gross+15, 3*time.Second)
			s.must(request.ConfirmStep{Batch: id, Step: string(at)})
			want := map[guide.Step]float64{guide.Ink: 55, guide.Hardener: 15}[at]
			if p := poured(s.batch(id)); !near(p[part], want) {
				t.Errorf("poured %v, want %v g of %s", p, want, part)
			}
		})
	}
}

// TestACupWithAPourNotTakenMayBeBack: a mix was set aside with hardener in its cup that nobody had confirmed. Its cup
// then weighs nearly what another one does, and must not be taken for that one back from its stir.
func TestACupWithAPourNotTakenMayBeBack(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	a, gross := s.begins(60)
	s.must(request.ConfirmStep{Batch: a, Step: "stir-hardener"})
	s.pours(gross, gross+7.5, 2*time.Second)
	s.must(request.ConfirmStep{Batch: a, Step: "thinner"}) // the cup weighs 94.5 g
	s.lifts()
	b := s.inked(64)
	s.pours(76, 92.3, 3*time.Second) // its hardener, which nobody confirms
	s.weighs(0, 2*time.Second)       // the tare key
	away := func(reading float64) {
		s.weighs(-92.3, 24*time.Second)
		s.reads(-50)
		s.weighs(reading, 3*time.Second)
	}
	away(2.2)
	s.must(request.TakeUp{Batch: a})
	away(0) // this is the cup of b
	if by := s.b.state.Batches[a].Mix.ByBench; by.Stirs() {
		t.Errorf("%s of %s was taken while the cup of %s stood there", by, a, b)
	}
}
