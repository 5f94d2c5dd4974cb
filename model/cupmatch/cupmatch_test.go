package cupmatch

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/guide"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

const divisionG = 0.1

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// bench is a scale as it really is: cups of mixes that are being stirred, one of which may
// stand on it, and a tare key. The matcher sees only what the scale shows.
type bench struct {
	tb interface {
		Helper()
		Fatalf(format string, args ...any)
	}
	m       Matcher
	tracker *weigh.Tracker
	now     time.Time
	mixes   map[string]*guide.Mix
	grossG  map[string]float64 // what each cup really weighs
	onID    string             // the mix that is weighed, as the program takes it
	cup     string             // whose cup really stands on the scale
	tareG   float64
}

func newBench(tb interface {
	Helper()
	Fatalf(format string, args ...any)
}, inkG, emptyG []float64) *bench {
	b := &bench{tb: tb, m: New(divisionG), tracker: weigh.NewTracker(divisionG), now: noon, mixes: map[string]*guide.Mix{}, grossG: map[string]float64{}}
	for i, ink := range inkG {
		id := fmt.Sprintf("0612-%d", i+1)
		b.mixes[id], b.grossG[id] = stirring(tb, ink, emptyG[i]), emptyG[i]+1.25*ink
	}
	return b
}

// stirring is a mix in step stir-hardener: so much ink, a quarter of it hardener.
func stirring(tb interface {
	Helper()
	Fatalf(format string, args ...any)
}, inkG, emptyG float64) *guide.Mix {
	tb.Helper()
	m, err := guide.Start(guide.Recipe{
		Ratio: 4, TolerancePct: 5, InkTargetG: inkG, InkMinimumG: inkG, ThinnerPct: 10, ThinnerMinPct: 5, ThinnerMaxPct: 20,
		CupMaximumG: 500, DivisionG: divisionG,
	})
	if err != nil {
		tb.Fatalf("recipe: %v", err)
	}
	for _, s := range []struct {
		step guide.Step
		g    float64
	}{{guide.Cup, emptyG}, {guide.Ink, emptyG + inkG}, {guide.Hardener, emptyG + 1.25*inkG}} {
		if m, _, err = m.Confirm(guide.Confirm{Step: s.step, WeightG: s.g, Settled: true, RoseAt: noon}, noon); err != nil {
			tb.Fatalf("%s: %v", s.step, err)
		}
	}
	if m.Step != guide.StirHardener || m.Poured().Of(mix.Hardener) == 0 {
		tb.Fatalf("the mix is at %s", m.Step)
	}
	return &m
}

func (b *bench) on() *Cup {
	if b.onID == "" {
		return nil
	}
	m := *b.mixes[b.onID]
	return &Cup{ID: b.onID, Mix: m, Gross: m.GrossG(0)}
}

func (b *bench) ids() []string {
	var ids []string
	for id := range b.mixes {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

func (b *bench) waiting() []Cup {
	var all []Cup
	for _, id := range b.ids() {
		if id != b.onID {
			all = append(all, Cup{ID: id, Mix: *b.mixes[id], Gross: b.mixes[id].GrossG(0)})
		}
	}
	return all
}

// reads gives the matcher one line of the scale, as the daemon does.
func (b *bench) reads(g float64, stable bool) {
	b.tb.Helper()
	b.now = b.now.Add(100 * time.Millisecond)
	r := weigh.Reading{At: b.now, Grams: math.Round(g*10) / 10, HasWeight: true, Stability: weigh.Moving}
	if stable {
		r.Stability = weigh.Stable
	}
	change := weigh.Unchanged
	if m := b.mixes[b.onID]; m != nil {
		m.Pan, change = b.tracker.Observe(r, m.Pan)
		b.m.Follow(*m)
	} else {
		b.tracker.Observe(r, weigh.Pan{})
	}
	settledG, settled := b.tracker.Settled()
	id := b.m.See(r, settledG, settled, change, b.on(), b.waiting())
	b.check()
	if id == "" {
		return
	}
	if id != b.cup {
		b.tb.Fatalf("the cup of %s was recognised, the cup of %q stands on the scale; cups %v, tared %v, showing %v", id, b.cup, b.grossG, b.tareG, r.Grams)
	}
	b.goOn(id, b.mixes[id].TakenUp(settledG), r)
}

// goOn makes a mix the one that is weighed.
func (b *bench) goOn(id string, m guide.Mix, last weigh.Reading) {
	b.onID, b.mixes[id] = id, &m
	b.tracker.Forget()
	b.tracker.Observe(last, m.Pan)
	b.m.Known()
	if len(b.m.Asked()) > 0 {
		b.tb.Fatalf("known, and asked about %v", b.m.Asked())
	}
}

// check holds after every reading.
func (b *bench) check() {
	b.tb.Helper()
	asked, ids := b.m.Asked(), b.ids()
	if !slices.IsSorted(asked) || len(slices.Compact(slices.Clone(asked))) != len(asked) || len(asked) == 1 && b.onID != "" && asked[0] != b.onID {
		b.tb.Fatalf("asked about %v", asked)
	}
	for _, id := range asked {
		if !slices.Contains(ids, id) {
			b.tb.Fatalf("asked about %v of the mixes %v", asked, ids)
		}
	}
	if open := b.m.Open(); len(open) > 0 && !slices.Equal(open, asked) {
		b.tb.Fatalf("open is %v, asked about is %v", open, asked)
	}
	if on := b.on(); on != nil {
		if err := b.m.CheckConfirm(guide.Mix{Step: guide.Thinner}, 0, "", b.waiting()); (err != nil) != (len(asked) > 0) {
			b.tb.Fatalf("asked about %v, and a pour is refused with %v", asked, err)
		}
	}
}

func (b *bench) shows() float64 { return b.grossG[b.cup] - b.tareG }

func (b *bench) rests() {
	b.tb.Helper()
	for i := range 15 {
		b.reads(b.shows(), i > 1)
	}
}

func (b *bench) lift() {
	b.tb.Helper()
	b.cup = ""
	b.rests()
}

func (b *bench) put(id string) {
	b.tb.Helper()
	if b.cup != "" {
		b.lift()
	}
	from := b.shows()
	b.cup = id
	for _, share := range []float64{0.3, 0.8} {
		b.reads(from+share*b.grossG[id], false)
	}
	b.rests()
}

// exchanged sets down one cup on an empty pan, and then another in its place before the scale has come to rest.
func (b *bench) exchanged(first, second string) {
	b.tb.Helper()
	b.rests()
	b.put(first)
	b.reads(0.2*b.shows(), false)
	b.cup = second
	b.reads(0.7*b.shows(), false)
	b.rests()
}

// answer says truly whose cup stands on the scale, if that is asked.
func (b *bench) answer() {
	b.tb.Helper()
	if !slices.Contains(b.m.Open(), b.cup) {
		return
	}
	if b.cup == b.onID {
		b.m.Known()
		return
	}
	c := Cup{ID: b.cup, Mix: *b.mixes[b.cup], Gross: b.mixes[b.cup].GrossG(0)}
	next, resumed := b.m.Resume(c)
	if !resumed {
		b.tb.Fatalf("%s was asked about and chosen, and is not resumed", b.cup)
	}
	b.goOn(b.cup, next, weigh.Reading{At: b.now, Grams: math.Round(b.shows()*10) / 10, HasWeight: true, Stability: weigh.Stable})
}

// TestNoCupIsTakenForAnother: people lift and set down any cup, press the tare key and take
// some of the mix along on a stick; when they are asked, they answer truly. No cup is ever
// recognised as that of another mix, and while it is open whose cup stands there, nothing
// can be confirmed.
func TestNoCupIsTakenForAnother(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var ink, empty []float64
		for range rapid.IntRange(2, 4).Draw(rt, "mixes") {
			ink = append(ink, rapid.SampledFrom([]float64{45, 45, 47, 58, 80}).Draw(rt, "ink"))
			empty = append(empty, rapid.Float64Range(13.5, 14.5).Draw(rt, "empty"))
		}
		b := newBench(rt, ink, empty)
		b.rests()
		clung := map[string]float64{}
		anyCup := func(rt *rapid.T) string { return rapid.SampledFrom(b.ids()).Draw(rt, "cup") }
		rt.Repeat(map[string]func(*rapid.T){
			"put":  func(rt *rapid.T) { b.put(anyCup(rt)) },
			"lift": func(*rapid.T) { b.lift() },
			"tare": func(*rapid.T) { b.tareG = b.grossG[b.cup]; b.rests() },
			"stick": func(*rapid.T) {
				if id := b.cup; id != "" && clung[id] < 1 { // what is assumed to cling at most, model/weigh
					b.lift()
					clung[id] += 0.4
					b.grossG[id] -= 0.4
					b.put(id)
				}
			},
			"a cup that slips by": func(rt *rapid.T) { // lifted and set down before the scale settled
				b.reads(0.2*b.shows(), false)
				b.cup = anyCup(rt)
				b.reads(0.7*b.shows(), false)
				b.rests()
			},
			"answer":       func(*rapid.T) { b.answer() },
			"answer again": func(*rapid.T) { b.answer() },
			"nobody knows": func(*rapid.T) { // after a restart, or after a change was taken back
				b.m.Forget()
				if b.m.Asked() != nil {
					rt.Fatalf("asked about %v before any reading", b.m.Asked())
				}
				b.rests()
			},
			"": func(*rapid.T) { b.check() },
		})
	})
}

// Two cups of clearly different weights are told apart without a question.
func TestCupsAreRecognised(t *testing.T) {
	b := newBench(t, []float64{45, 80}, []float64{14, 14})
	b.rests()
	for _, id := range []string{"0612-1", "0612-2", "0612-1"} {
		b.put(id)
		if b.onID != id || b.m.Asked() != nil {
			t.Fatalf("the cup of %s was put down: weighed is %q, asked is %v", id, b.onID, b.m.Asked())
		}
	}
}

// Two cups of about one weight are asked about.
func TestCupsOfOneWeightAreAskedAbout(t *testing.T) {
	b := newBench(t, []float64{45, 45, 80}, []float64{14, 14, 14})
	b.rests()
	b.put("0612-2")
	if want := []string{"0612-1", "0612-2"}; b.onID != "" || !slices.Equal(b.m.Open(), want) {
		t.Fatalf("weighed is %q, asked is %v, want %v", b.onID, b.m.Open(), want)
	}
	b.lift()
	if b.m.Open() != nil || b.m.Asked() == nil {
		t.Errorf("on an empty pan: open %v, asked %v", b.m.Open(), b.m.Asked())
	}
	b.put("0612-1")
	b.answer()
	if b.onID != "0612-1" || b.m.Asked() != nil {
		t.Errorf("after the answer: weighed is %q, asked is %v", b.onID, b.m.Asked())
	}
}

// A cup that stood there all the time is not recognised: nobody has seen the pan empty.
func TestACupThatStandsAlreadyIsAskedAbout(t *testing.T) {
	b := newBench(t, []float64{45, 80}, []float64{14, 14})
	b.cup = "0612-2"
	b.rests()
	if want := []string{"0612-2"}; b.onID != "" || !slices.Equal(b.m.Open(), want) {
		t.Errorf("weighed is %q, asked is %v, want %v", b.onID, b.m.Open(), want)
	}
}

func TestResumeAt(t *testing.T) {
	b := newBench(t, []float64{45, 80}, []float64{14, 14})
	b.rests()
	b.put("0612-1") // is weighed now
	b.now = b.now.Add(time.Second)
	other := b.waiting()[0]
	for _, c := range []struct {
		what     string
		g        float64
		settled  bool
		override string
		want     string
	}{
		{"a weight that moves", b.grossG["0612-1"], false, "", guide.Unsettled},
		{"the cup of the other mix", b.grossG["0612-1"], true, "", OtherCup},
	} {
		_, err := b.m.ResumeAt(other, b.on(), c.g, c.settled, c.override)
		if is := (*guide.StepError)(nil); !errors.As(err, &is) || is.Code != c.want {
			t.Errorf("%s: %v, want %s", c.what, err, c.want)
		}
	}
	b.lift()
	next, err := b.m.ResumeAt(other, b.on(), 0, true, "")
	if err != nil || next.Pan.Holds() {
		t.Errorf("an empty pan: %+v, %v; want to wait for the cup", next.Pan, err)
	}
	var is *guide.StepError
	if _, err := b.m.ResumeAt(other, b.on(), 50, true, ""); !errors.As(err, &is) || is.Code != OtherWeight {
		t.Errorf("a cup of another weight: %v", err)
	}
	if next, err := b.m.ResumeAt(other, b.on(), 50, true, "spilled"); err != nil || next.Pan.BaseG != 50 {
		t.Errorf("a cup of another weight, with a reason: %+v, %v", next.Pan, err)
	}
}

// A full cup is no empty one, whatever the person says; a reason sets that aside.
func TestAFullCupIsNoEmptyOne(t *testing.T) {
	b := newBench(t, []float64{45}, []float64{14})
	fresh := guide.Mix{Step: guide.Cup}
	if err := b.m.CheckConfirm(fresh, b.grossG["0612-1"], "", b.waiting()); err == nil {
		t.Error("the full cup of a waiting mix was taken for an empty one")
	}
	if err := b.m.CheckConfirm(fresh, b.grossG["0612-1"], "a heavy cup", b.waiting()); err != nil {
		t.Errorf("with a reason: %v", err)
	}
	if err := b.m.CheckConfirm(fresh, 14, "", b.waiting()); err != nil {
		t.Errorf("an empty cup: %v", err)
	}
}

// As a property test found it: while a person was asked and did not answer, another cup was
// exchanged in passing and tared. The mix that is weighed does not know of that tare, and its own
// cup was then taken for the one of a third mix.
func TestATareWithAnotherCupOnTheScaleIsNotForgotten(t *testing.T) {
	b := newBench(t, []float64{45, 45, 47}, []float64{14.078125, 14.375, 14})
	passes := func(id string) {
		b.reads(0.2*b.shows(), false)
		b.cup = id
		b.reads(0.7*b.shows(), false)
		b.rests()
	}
	tare := func() { b.tareG = b.grossG[b.cup]; b.rests() }
	stick := func() {
		id := b.cup
		b.lift()
		b.grossG[id] -= 0.4
		b.put(id)
	}
	b.rests()
	passes("0612-2")
	tare()
	stick()
	stick()
	b.put("0612-1")
	b.put("0612-2")
	tare()
	stick()
	passes("0612-3")
	tare()
	b.put("0612-2") // fails where it is taken for another
	if len(b.m.Open()) == 0 {
		t.Errorf("weighed is %q, and nobody is asked", b.onID)
	}
}

// A cup was exchanged before the scale settled, a person was asked and did not answer, but
// stirred and pressed the tare key: what is tared is then known to what clings to a stick
// only, and the next cup is asked about.
func TestATareWhileAskedProvesNothing(t *testing.T) {
	b := newBench(t, []float64{45, 47}, []float64{13.5, 13.5})
	b.exchanged("0612-1", "0612-2")
	if len(b.m.Open()) != 2 {
		t.Fatalf("a cup that was exchanged: asked about %v", b.m.Open())
	}
	tare := func() { b.tareG = b.grossG[b.cup]; b.rests() }
	tare()
	b.lift()
	b.grossG["0612-2"] -= 0.4
	b.put("0612-2")
	tare()
	b.put("0612-1") // fails where it is taken for another
	if len(b.m.Open()) == 0 {
		t.Errorf("weighed is %q, and nobody is asked", b.onID)
	}
}

// The scale was tared with a cup on it while nobody knew whose it is, the pan was empty, and a cup came
// back heavier than it should: more was poured into it than was taken. The answer to whose it is makes a
// pour of what is above its weight, and not of all that is above the empty pan.
func TestACupThatComesBackHeavierStandsOnWhatIsKnown(t *testing.T) {
	b := newBench(t, []float64{45, 47}, []float64{13.5, 13.5})
	b.exchanged("0612-1", "0612-2")
	b.tareG = b.grossG[b.cup]
	b.rests()
	b.lift()
	if !b.m.cleared || b.shows() > -60 {
		t.Fatalf("the empty pan shows %.1f g, and cups are asked about: %v", b.shows(), b.m.Open())
	}
	b.grossG["0612-2"] += 10
	b.put("0612-2")
	b.answer()
	if b.onID != "0612-2" {
		t.Fatalf("weighed is %q, asked is %v", b.onID, b.m.Asked())
	}
	b.rests()
	if pan := b.mixes["0612-2"].Pan; math.Abs(pan.BaseG) > 0.2 || b.shows() < 9.9 {
		t.Errorf("its pours are above %.1f g while the scale shows %.1f g: %+v", pan.BaseG, b.shows(), pan)
	}
}

// The scale was tared with the cup of one mix on it, and then that of another is set down, which weighs a
// little less: as if a stick had carried some of the first off. It may be either, so that a person is asked.
func TestALighterCupOnATaredScaleIsAskedAbout(t *testing.T) {
	b := newBench(t, []float64{60, 62}, []float64{11.75, 12.23})
	b.rests()
	b.put("0612-2")
	if b.onID != "0612-2" {
		t.Fatalf("weighed is %q", b.onID)
	}
	b.grossG["0612-2"] -= 0.4
	b.put("0612-2")
	b.tareG = b.grossG["0612-2"]
	b.rests()
	b.put("0612-1")
	if want := []string{"0612-1", "0612-2"}; !slices.Equal(b.m.Open(), want) {
		t.Errorf("weighed is %q while the cup of 0612-1 stands there, asked is %v, want %v", b.onID, b.m.Open(), want)
	}
}
