package weigh

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var start = time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)

type fatal interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// bench plays readings into a tracker, ten a second.
type bench struct {
	now     time.Time
	tracker *Tracker
	rise    *Rise
	pan     Pan
	d       float64
	marks   bool // the scale marks stability
	tare    Tare
	last    float64
	changes []Change
}

func newBench(divisionG float64, marks bool) *bench {
	return &bench{now: start, tracker: NewTracker(divisionG), rise: NewRise(divisionG), d: divisionG, marks: marks}
}

func (b *bench) read(g float64) {
	b.now = b.now.Add(100 * time.Millisecond)
	g = math.Round(g/b.d) * b.d
	r := Reading{At: b.now, Grams: g, HasWeight: true, Tare: b.tare}
	if b.marks {
		r.Stability = Moving
		if math.Abs(g-b.last) < b.d/2 {
			r.Stability = Stable
		}
	}
	b.last = g
	b.rise.Observe(r)
	var change Change
	b.pan, change = b.tracker.Observe(r, b.pan)
	if change != Unchanged {
		b.changes = append(b.changes, change)
	}
}

func (b *bench) hold(g float64, d time.Duration) {
	for range int(d / (100 * time.Millisecond)) {
		b.read(g)
	}
}

// set is a thing put down or taken off: there within 300 ms, then at rest.
func (b *bench) set(g float64) {
	from := b.last
	b.read(from + (g-from)*0.4)
	b.read(from + (g-from)*0.8)
	b.hold(g, 4*time.Second)
}

// pour rises evenly and comes to rest.
func (b *bench) pour(by float64, d time.Duration) {
	from, n := b.last, int(d/(100*time.Millisecond))
	for i := 1; i <= n; i++ {
		b.read(from + by*float64(i)/float64(n))
	}
	b.hold(from+by, 2*time.Second)
}

// key is the tare key: the reading falls at once.
func (b *bench) key() { b.hold(0, 2*time.Second) }

// restart is a kill -9: only the pan survives.
func (b *bench) restart() {
	b.tracker, b.rise = NewTracker(b.d), NewRise(b.d)
}

// next is a confirm.
func (b *bench) next(t fatal) {
	t.Helper()
	g, ok := b.tracker.Settled()
	if !ok {
		t.Fatal("not settled")
	}
	b.pan = NewPan(g)
}

func (b *bench) want(t fatal, poured float64, changes ...Change) {
	t.Helper()
	if !b.pan.Holds() {
		t.Fatalf("pan is %q: %+v, changes %v", b.pan.State, b.pan, b.changes)
	}
	if got := b.pan.PouredG(b.last); math.Abs(got-poured) > b.d*1.01 {
		t.Fatalf("poured %v, want %v; pan %+v, changes %v", got, poured, b.pan, b.changes)
	}
	if len(b.changes) != len(changes) {
		t.Fatalf("changes %v, want %v", b.changes, changes)
	}
	for i := range changes {
		if b.changes[i] != changes[i] {
			t.Fatalf("changes %v, want %v", b.changes, changes)
		}
	}
}

func (b *bench) wantAsked(t fatal) {
	t.Helper()
	if b.pan.State != PanAsked {
		t.Fatalf("not asked: pan %+v, changes %v", b.pan, b.changes)
	}
}

// withInk is a cup of 12 g and 60 g of ink, confirmed.
func withInk(t fatal, divisionG float64, marks bool) *bench {
	b := newBench(divisionG, marks)
	b.hold(0, 2*time.Second)
	b.set(12)
	b.next(t)
	b.pour(60, 10*time.Second)
	b.want(t, 60)
	b.next(t)
	return b
}

func eachScale(t *testing.T, f func(t *testing.T, divisionG float64, marks bool)) {
	for name, marks := range map[string]bool{"marked": true, "unmarked": false} {
		for _, d := range []float64{0.1, 1} {
			t.Run(name, func(t *testing.T) { f(t, d, marks) })
		}
	}
}

func TestPartsOnOneTare(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.pour(15, 5*time.Second)
		b.want(t, 15)
	})
}

func TestTaredBetween(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.key()
		if b.pan.State != PanZeroed {
			t.Fatalf("%+v", b.pan)
		}
		b.pour(15, 5*time.Second)
		b.want(t, 15, Zeroed, Tared)
	})
}

func TestTaredInMidPour(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.pour(9, 3*time.Second)
		b.key()
		b.pour(6, 5*time.Second)
		b.want(t, 15, Zeroed, Tared)
	})
}

// TestQuickPourAfterTheKey: less than half of what stood there is no cup that came
// back, however quickly it stands there.
func TestQuickPourAfterTheKey(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.key()
		b.set(15)
		b.want(t, 15, Zeroed, Tared)
	})
}

func TestNetMarkDecidesAtOnce(t *testing.T) {
	b := newBench(0.1, true)
	b.tare = Gross
	b.hold(0, time.Second)
	b.set(12)
	b.next(t)
	b.tare = Net
	b.read(0)
	b.want(t, 0, Tared)
	b.set(60) // a jump needs no explanation once that is known
	b.want(t, 60, Tared)
	b.key() // the mark stays, and with the cup lifted the reading would be below zero
	b.want(t, 60, Tared, Tared)
}

func TestLiftedAndBack(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.pour(15, 5*time.Second)
		b.set(0)
		b.hold(0, 20*time.Second)
		b.set(87)
		b.want(t, 15, Zeroed, Returned)
		b.set(0)
		b.set(85) // the stick took 2 g of the mix: what was poured stays poured
		b.want(t, 15, Zeroed, Returned, Zeroed, Returned)
	})
}

// A question about a weight that appeared on the empty pan ends once that weight is off again and the cup is back. It
// does not end when the weight is only made up to that of the cup.
func TestAQuestionEndsWithTheCupsReturn(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.pour(15, 5*time.Second)
		b.set(0)
		b.set(50) // another cup
		b.wantAsked(t)
		b.set(87)
		b.wantAsked(t)
		b.set(0)
		b.set(87)
		b.want(t, 15, Zeroed, Ambiguous, Returned)
	})
}

func TestTaredCupLiftedAndBack(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.key()
		b.pour(15, 5*time.Second)
		b.set(-72)
		if b.pan.State != PanAway {
			t.Fatalf("%+v", b.pan)
		}
		b.hold(-72, 10*time.Second)
		b.set(15)
		b.want(t, 15, Zeroed, Tared, Lifted, Returned)
	})
}

func TestTaredThenLiftedBeforeAnyPour(t *testing.T) {
	eachScale(t, func(t *testing.T, d float64, marks bool) {
		b := withInk(t, d, marks)
		b.key()
		b.set(-72) // an empty pan that was not tared would show zero
		b.set(0)
		b.want(t, 0, Zeroed, Tared, Returned)
		b.pour(15, 5*time.Second)
		b.want(t, 15, Zeroed, Tared, Returned)
	})
}

func TestAsked(t *testing.T) {
	answers := map[string]struct {
		play           func(b *bench)
		tared, notTare float64 // poured, by the answer
	}{
		"a jump to another weight":                  {func(b *bench) { b.key(); b.set(45) }, 45, -27},
		"emptied after a lift":                      {func(b *bench) { b.set(0); b.set(50) }, 50, -22},
		"more than before":                          {func(b *bench) { b.set(0); b.set(90) }, 90, 18},
		"slowly to the weight before":               {func(b *bench) { b.key(); b.read(30); b.hold(60, 2*time.Second); b.set(72) }, 72, 0},
		"a tare seen only after the pour had begun": {func(b *bench) { b.read(2); b.pour(13, 3*time.Second) }, 15, -57},
		"in two steps to the weight before":         {func(b *bench) { b.key(); b.hold(60, 1500*time.Millisecond); b.set(72) }, 72, 0},
		"the pan's plate taken off":                 {func(b *bench) { b.set(0); b.set(-30) }, -30, -102},
		"the empty pan zeroed before any pour": {func(b *bench) {
			b.key()
			b.set(-72)
			b.key()
			b.set(72)
		}, 0, 72},
		"the empty pan zeroed while a tared cup was away": {func(b *bench) {
			b.key()
			b.pour(15, 5*time.Second)
			b.set(-72)
			b.key()
			b.set(87)
		}, 15, 87},
	}
	for name, c := range answers {
		t.Run(name, func(t *testing.T) {
			for _, key := range []bool{true, false} {
				b := withInk(t, 1, true)
				c.play(b)
				b.wantAsked(t)
				b.pan = b.pan.Answered(key)
				want := c.notTare
				if key {
					want = c.tared
				}
				b.hold(b.last, time.Second)
				if got := b.pan.PouredG(b.last); got != want && want >= 0 {
					t.Errorf("answer %v: poured %v, want %v (%+v)", key, got, want, b.pan)
				}
			}
		})
	}
}

// A plateau reached in one reading, so that nothing of it counts as a climb.
func TestASecondStepToTheWeightBeforeIsAsked(t *testing.T) {
	b := withInk(t, 1, true)
	b.key()
	b.hold(60, 1500*time.Millisecond)
	b.hold(72, 4*time.Second)
	b.wantAsked(t)
}

func TestAnsweredWhileItStillShowsZero(t *testing.T) {
	b := withInk(t, 1, true)
	b.key()
	b.pan = b.pan.Answered(true)
	b.hold(0, 2*time.Second)
	b.pour(15, 5*time.Second)
	b.want(t, 15, Zeroed)
}

// Four grams before and four after: too little to tell a cup from a pour.
func TestLittleOnAWholeGramScaleIsAsked(t *testing.T) {
	b := newBench(1, false)
	b.hold(0, 2*time.Second)
	b.set(8)
	b.next(t)
	b.key()
	b.pour(4.5, 3*time.Second)
	b.key()
	b.pour(4, 3*time.Second)
	if b.pan.Holds() && math.Abs(b.pan.PouredG(b.last)-8.5) > 2 {
		t.Errorf("claims %v: %+v", b.pan.PouredG(b.last), b.pan)
	}
}

func TestTareClearedIsAsked(t *testing.T) {
	b := newBench(1, true)
	b.tare = Net
	b.hold(0, time.Second) // a tared cup
	b.next(t)
	b.pour(60, 5*time.Second)
	b.tare = Gross
	b.hold(72, time.Second)
	b.wantAsked(t)
	b.pan = b.pan.Answered(true)
	b.hold(72, time.Second)
	b.pour(3, time.Second)
	if got := b.pan.PouredG(b.last); got != 63 {
		t.Errorf("poured %v", got)
	}
}

// A scale with a slow filter shows a cup set down like a pour.
func TestSlowFilterIsNotTakenForAPour(t *testing.T) {
	b := withInk(t, 0.1, true)
	b.set(0)
	for i := range 60 {
		b.read(72 * (1 - math.Exp(-float64(i)/6)))
	}
	b.hold(72, 2*time.Second)
	b.wantAsked(t)
	b.pan = b.pan.Answered(false)
	if got := b.pan.PouredG(b.last); math.Abs(got) > 0.1 {
		t.Errorf("poured %v", got)
	}
}

func TestRestart(t *testing.T) {
	t.Run("in mid-pour", func(t *testing.T) {
		b := withInk(t, 0.1, true)
		b.pour(9, 3*time.Second)
		b.restart()
		b.hold(b.last, time.Second)
		b.pour(6, 3*time.Second)
		b.want(t, 15)
	})
	t.Run("while zeroed, and it was a tare", func(t *testing.T) {
		b := withInk(t, 0.1, true)
		b.key()
		b.restart()
		b.hold(0, time.Second)
		b.pour(15, 5*time.Second)
		b.want(t, 15, Zeroed, Tared)
	})
	t.Run("tared while nobody saw it", func(t *testing.T) {
		b := withInk(t, 0.1, true)
		b.pour(9, 3*time.Second)
		b.restart()
		b.hold(0, time.Second)
		b.pour(6, 3*time.Second)
		b.wantAsked(t) // how much was in before cannot be known
	})
	t.Run("poured on while nobody saw it", func(t *testing.T) {
		b := withInk(t, 0.1, true)
		b.key()
		b.restart()
		b.hold(15, 2*time.Second)
		b.wantAsked(t)
	})
}

func TestTareBeforeThePourSettled(t *testing.T) {
	b := newBench(1, false)
	b.hold(0, 2*time.Second)
	b.set(12)
	b.next(t)
	from := b.last
	for i := range 30 {
		b.read(from + 2*float64(i)) // never at rest
	}
	b.key()
	b.pour(5, 3*time.Second)
	b.wantAsked(t)
}

// Whatever is done at the scale, by the keys and by hand: either the poured
// mass is right, or the pan does not claim to know it.
func TestNeverWrongInSilence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(rapid.SampledFrom([]float64{0.1, 1}).Draw(t, "division"), rapid.Bool().Draw(t, "marks"))
		netMark := rapid.Bool().Draw(t, "net mark")
		if netMark {
			b.tare = Gross
		}
		b.hold(0, 2*time.Second)
		cup := rapid.Float64Range(8, 40).Draw(t, "cup")
		b.set(cup)
		b.next(t)
		mass, zero, poured, onPan := cup, 0.0, 0.0, true
		for range rapid.IntRange(1, 12).Draw(t, "doings") {
			switch doing := rapid.SampledFrom([]string{"pour", "pour", "tare", "lift", "confirm", "restart"}).Draw(t, "doing"); doing {
			case "pour":
				if onPan {
					g := math.Round(rapid.Float64Range(4, 60).Draw(t, "grams"))
					b.pour(g, time.Duration(rapid.Float64Range(3, 8).Draw(t, "seconds")*float64(time.Second)))
					mass, poured = mass+g, poured+g
				}
			case "tare":
				if onPan {
					zero = mass
					if netMark {
						b.tare = Net
					}
					b.key()
				}
			case "lift":
				onPan = !onPan
				if onPan {
					b.set(mass - zero)
				} else {
					b.set(-zero)
				}
			case "confirm":
				if g, ok := b.tracker.Settled(); ok && onPan && b.pan.Holds() {
					b.pan, poured = NewPan(g), 0
				}
			case "restart":
				b.restart()
				b.hold(b.last, 2*time.Second)
			}
			if !onPan || !b.pan.Holds() {
				continue
			}
			// Each zero and each base is rounded to a division.
			if got := b.pan.PouredG(b.last); math.Abs(got-poured) > 4*b.d {
				t.Fatalf("claims %v, is %v; pan %+v, changes %v", got, poured, b.pan, b.changes)
			}
			if b.pan.State == PanAsked {
				return
			}
		}
	})
}

// Noise of any sort breaks nothing and leaves finite numbers.
func TestTrackerTakesAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tracker, rise, pan, now, latest := NewTracker(1), NewRise(1), Pan{}, start, start
		for range rapid.IntRange(0, 200).Draw(t, "n") {
			now = now.Add(time.Duration(rapid.IntRange(-100, 900).Draw(t, "ms")) * time.Millisecond)
			r := Reading{
				At:        now,
				Grams:     rapid.OneOf(rapid.SampledFrom([]float64{0, 0, 72, -72, 15, math.NaN(), math.Inf(1), 1e300}), rapid.Float64Range(-100, 100)).Draw(t, "g"),
				HasWeight: rapid.IntRange(0, 5).Draw(t, "has") > 0,
				Stability: Stability(rapid.IntRange(0, 2).Draw(t, "stability")),
				Tare:      Tare(rapid.IntRange(0, 2).Draw(t, "tare")),
				Over:      rapid.IntRange(0, 9).Draw(t, "over") == 0,
			}
			if now.After(latest) {
				latest = now
			}
			before := pan
			var change Change
			pan, change = tracker.Observe(r, pan)
			rise.Observe(r)
			if math.IsNaN(pan.BaseG) || math.IsInf(pan.BaseG, 0) {
				t.Fatalf("base %v", pan.BaseG)
			}
			if pan.BaseG != before.BaseG && change == Unchanged {
				t.Fatalf("the base moved in silence: %+v to %+v", before, pan)
			}
			if before.State == PanAsked && pan != before {
				t.Fatal("a question went away without an answer")
			}
			if at, ok := rise.Above(pan.BaseG); ok && at.After(latest) {
				t.Fatal("a rise in the future")
			}
		}
	})
}
