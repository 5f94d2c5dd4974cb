package guide

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// realCup is a cup with what is truly in it, on a scale whose readings alone the guide
// sees, through the tracker, as a service would carry them.
type realCup struct {
	t       *rapid.T
	m       Mix
	now     time.Time
	tracker *weigh.Tracker
	in      mix.Amounts
	emptyG  float64
	tareG   float64
	away    bool
	keyed   bool // the tare key was pressed since the pan last held
}

func (c *realCup) shows() float64 {
	g := c.emptyG + c.in.TotalG()
	if c.away {
		g = 0
	}
	d := c.m.Recipe.DivisionG
	return math.Round((g-c.tareG)/d) * d
}

func (c *realCup) read() {
	c.now = c.now.Add(100 * time.Millisecond)
	pan, _ := c.tracker.Observe(weigh.Reading{At: c.now, Grams: c.shows(), HasWeight: true}, c.m.Pan)
	if c.m.Step != Cup {
		c.m = c.m.Weighed(pan)
	}
}

func (c *realCup) rests() {
	for range 25 {
		c.read()
	}
}

func (c *realCup) pours(part mix.Part, g float64) {
	const steps = 60 // six seconds: a hand pours, a cup is set down
	for range steps {
		c.in = c.in.Plus(part, g/steps)
		c.read()
	}
	c.rests()
}

func (c *realCup) tares() {
	c.tareG += c.shows()
	c.keyed = true
	c.rests()
}

func (c *realCup) lifts() {
	c.away = true
	c.rests()
	c.away = false
	c.rests()
}

// confirms says that the step is done, and answers what the scale leaves open truly.
func (c *realCup) confirms(part mix.Part) error {
	ask := Confirm{Step: c.m.Step, Part: part}
	ask.WeightG, ask.Settled = c.tracker.Settled()
	next, _, err := c.m.Confirm(ask, c.now)
	var r *StepError
	if errors.As(err, &r) && (r.Code == AmbiguousTare || c.m.Pan.State == weigh.PanZeroed) {
		ask.Tared = &c.keyed
		next, _, err = c.m.Confirm(ask, c.now)
	}
	if errors.As(err, &r) && r.Code == TooMuch {
		ask.Override = "nobody takes it out again"
		next, _, err = c.m.Confirm(ask, c.now)
	}
	if err != nil {
		return err
	}
	confirmOrder(c.t, c.m.Step, next.Step)
	c.m = next
	c.keyed = c.keyed && !c.m.Pan.Holds() // still open: nothing is poured at this step
	return nil
}

// confirmOrder: whatever is confirmed, no step is skipped that this mix has.
func confirmOrder(t *rapid.T, from, to Step) {
	t.Helper()
	skips := map[Step][]Step{
		Cup: {Hardener, StirHardener, Thinner, StirThinner, Rest, Load}, Ink: {Thinner, StirThinner, Rest, Load},
		Hardener: {Thinner, StirThinner, Rest, Load},
	}
	for _, s := range skips[from] {
		if s == to {
			t.Fatalf("from %s straight to %s", from, to)
		}
	}
}

// TestWhatIsReallyInTheCup: somebody pours what the guide asks for, too much or too little
// of it at times, tares or lifts the cup between, and then pours the first correction.
// At the end what is truly in the cup is within tolerance, or the guide has said that this
// cup has no room for it.
func TestWhatIsReallyInTheCup(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := recipe(t)
		r.DivisionG = rapid.SampledFrom([]float64{0.01, 0.1}).Draw(t, "fine division")
		r.InkTargetG = math.Max(r.InkTargetG, 40)
		m, err := Start(r)
		if err != nil {
			t.Fatal(err)
		}
		c := &realCup{t: t, m: m, now: start, tracker: weigh.NewTracker(r.DivisionG), emptyG: 12}
		c.away = true
		c.rests()
		c.away = false
		c.rests()
		if err := c.confirms(""); err != nil {
			t.Fatal(err)
		}
		erred := map[Step]bool{}
		for range 40 {
			switch {
			case c.m.Step == Load:
				c.within()
				return
			case c.m.Stuck():
				return
			}
			switch rapid.SampledFrom([]string{"", "", "tare", "lift", "tare and lift"}).Draw(t, "between") {
			case "tare":
				c.tares()
			case "lift":
				c.lifts()
			case "tare and lift":
				c.tares()
				c.lifts()
			}
			if c.m.Step == Rest {
				c.now = c.m.RestUntil
			}
			if bar, ok := c.m.Pouring(); ok && bar.TargetG > 0 {
				share := 1.0
				if !erred[c.m.Step] {
					erred[c.m.Step] = true
					share = rapid.SampledFrom([]float64{1, 1, 0.7, 0.95, 1.1, 1.4}).Draw(t, "share")
				}
				c.pours(bar.Part, math.Max(bar.TargetG*share, 2*r.DivisionG))
				if rapid.IntRange(0, 5).Draw(t, "mid") == 0 {
					c.lifts()
				}
			}
			if err := c.confirms(""); err != nil {
				t.Fatalf("%s: %v; pan %+v, truly %+v", c.m.Step, err, c.m.Pan, c.in)
			}
		}
		t.Fatalf("still at %s with %+v", c.m.Step, c.m.Poured())
	})
}

// within judges what is truly in the cup. A few readings' rounding is allowed beyond the
// tolerance, since that much the scale cannot see.
func (c *realCup) within() {
	c.t.Helper()
	r := c.m.Recipe
	poured := c.m.Poured()
	for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		if math.Abs(poured.Of(part)-c.in.Of(part)) > 4*r.DivisionG {
			c.t.Fatalf("%s: %v g are booked, %v g are in", part, poured.Of(part), c.in.Of(part))
		}
	}
	slack := 100 * 6 * r.DivisionG * (1/c.in.InkG + 1/c.in.HardenerG)
	if off := 100 * math.Abs(mix.Deviation(c.in, r.Ratio)); off > r.TolerancePct+slack {
		c.t.Fatalf("the ratio is %v %% off, with %v %% allowed", off, r.TolerancePct)
	}
	pct, per := c.in.ThinnerPct(), 100*6*r.DivisionG/c.in.CatalysedG()
	if pct < r.ThinnerMinPct-per || pct > r.ThinnerMaxPct+per {
		c.t.Fatalf("thinner is %v %%, with %v to %v allowed", pct, r.ThinnerMinPct, r.ThinnerMaxPct)
	}
}
