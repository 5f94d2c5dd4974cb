package bench

import (
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// cupboard is a bench as it really is: cups with something in them, one of which may
// stand on the scale, and a tare key. The program sees only what the scale shows.
type cupboard struct {
	*shop
	cups         map[string]float64 // gross, by the mix whose cup it is
	on           string             // whose cup stands on the scale
	tareG        float64
	emptyG, newG map[string]float64 // the cups' own weights, and those of the cups that a mix is being poured into
	// How often the key was pressed and the cup lifted since the last confirm.
	keyed, raised int
	byBench       map[string]guide.Step // the last step that the bench confirmed by itself, by mix
}

// stirs lifts what stands on the scale for as long as a stir takes, and sets a cup down.
func (w *cupboard) stirs(put string) {
	w.lift()
	for range 12 {
		w.clock.turn(2 * time.Second)
		w.enter(weightReading{scale: "scale-1", reading: weigh.Reading{Grams: w.shows(), HasWeight: true, Stability: weigh.Stable}, at: w.clock.is.Mono})
	}
	w.put(put)
}

// looks fails where the bench has confirmed a step by itself and the cup on the scale is not
// that of the mix: a stir of another's cup, or a cup that is not empty.
func (w *cupboard) looks(rt *rapid.T) {
	for id, b := range w.b.state.Batches {
		by := b.Mix.ByBench
		if by == w.byBench[id] {
			continue
		}
		w.byBench[id] = by
		switch {
		case by.Stirs() && w.on != id:
			rt.Fatalf("%s of %s was confirmed by the bench while the cup of %q stood on the scale; cups %v, tared %v", by, id, w.on, w.cups, w.tareG)
		case by == guide.Cup && (w.on == "" || w.cups[w.on] > 14):
			rt.Fatalf("the cup of %s was taken by the bench while that of %q stood on the scale; cups %v, tared %v", id, w.on, w.cups, w.tareG)
		}
	}
}

// isIn fails where a mix that was poured over is not in the cup on the scale, or where its record has more or less in
// it than that cup.
func (w *cupboard) isIn(rt *rapid.T, b *record.Batch) {
	have := b.Mix.Poured().TotalG() + b.Mix.Pan.PouredG(w.shows())
	if content := w.cups[w.on] - w.emptyG[b.ID]; w.on != b.ID || math.Abs(have-content) > 3 {
		rt.Fatalf("%s was poured over, with %v g, while the cup of %q with %v g stood on the scale; cups %v, tared %v, showing %v", b.ID, have, w.on, content, w.cups, w.tareG, w.shows())
	}
}

func (w *cupboard) shows() float64 { return math.Round(10*(w.cups[w.on]-w.tareG)) / 10 }

func (w *cupboard) rests() { w.weighs(w.shows(), 1500*time.Millisecond) }

func (w *cupboard) lift() {
	w.on = ""
	w.raised++
	w.rests()
}

func (w *cupboard) put(id string) {
	if w.on != "" {
		w.lift()
	}
	from := w.shows()
	w.on = id
	for _, share := range []float64{0.3, 0.8} {
		w.reads(from + share*w.cups[id])
	}
	w.rests()
}

func (w *cupboard) tare() {
	w.tareG = w.cups[w.on]
	w.keyed++
	w.rests()
}

func (w *cupboard) pour(g float64) {
	if w.on == "" {
		return
	}
	from := w.shows()
	w.cups[w.on] += g
	w.pours(from, w.shows(), time.Duration(math.Max(1, g/8)*10)*100*time.Millisecond)
}

// TestNoPourIsBookedToAnotherMix: several mixes share a scale, and a person who mixes takes
// whatever cup is next, pours into it what the page asks for, and confirms without a
// look at which mix the page names. They answer truly when they are asked. Whatever
// they do, no pour is booked to a mix while the cup of another stands on the scale.
func TestNoPourIsBookedToAnotherMix(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		w := &cupboard{shop: openShop(t, t.TempDir(), newClock()), cups: map[string]float64{}, emptyG: map[string]float64{}, newG: map[string]float64{}, byBench: map[string]guide.Step{}}
		defer w.crash()
		w.pass(6*time.Second, both(mild))
		w.rests()
		mixes := func() []string { return slices.Sorted(maps.Keys(w.cups)) }
		weighed := func() *record.Batch { return weighing(w.b.state, "scale-1") }
		// A mix that waits has a cup of its own once something is in it; until then one empty
		// cup is as good as another.
		anyCup := func(rt *rapid.T) string {
			id := rapid.SampledFrom(mixes()).Draw(rt, "cup")
			if b := w.b.state.Batches[id]; b.Aside() && len(b.Mix.Pours) == 0 {
				return w.on
			}
			return id
		}
		actions := map[string]func(*rapid.T){
			"start": func(rt *rapid.T) {
				ink := rapid.SampledFrom([]float64{60, 60, 62, 70}).Draw(rt, "ink")
				w.lift()
				v, refusal := w.ask(request.StartMix{Ink: "dial-satin", InkG: &ink})
				if refusal == nil {
					w.emptyG[v.ID] = rapid.Float64Range(11.5, 12.5).Draw(rt, "empty")
					w.cups[v.ID] = w.emptyG[v.ID]
					w.put(v.ID)
				}
			},
			"put": func(rt *rapid.T) {
				if len(w.cups) > 0 {
					if id := anyCup(rt); id != "" {
						w.put(id)
					}
				}
			},
			"put its own": func(*rapid.T) {
				if on := weighed(); on != nil {
					w.put(on.ID)
				}
			},
			"lift": func(*rapid.T) { w.lift() },
			"tare": func(*rapid.T) { w.tare() },
			"stick": func(*rapid.T) { // a stirring stick takes some along
				if w.on != "" && w.cups[w.on] > 60 {
					at := w.on
					w.lift()
					w.cups[at] -= 0.4
					w.put(at)
				}
			},
			"stir": func(*rapid.T) {
				if at := w.on; at != "" {
					w.stirs(at)
				}
			},
			"stir, and put any": func(rt *rapid.T) {
				if len(w.cups) > 0 {
					if id := anyCup(rt); id != "" {
						w.stirs(id)
					}
				}
			},
			"undo what the bench did": func(*rapid.T) {
				for _, v := range w.b.Snapshot().Batches {
					if v.ByBench != nil {
						w.ask(request.Undo{Batch: v.ID, Seq: v.ByBench.Seq})
					}
				}
			},
			"pour": func(rt *rapid.T) {
				v := w.scaleView()
				if v.Pouring != nil {
					w.pour(math.Max(0, v.Pouring.TargetG-v.Pouring.PouredG) * rapid.SampledFrom([]float64{0.5, 1, 1, 1, 1.02}).Draw(rt, "share"))
				}
			},
			"confirm": func(*rapid.T) {
				on := weighed()
				if on == nil || w.on == "" && on.Mix.Step == guide.Cup { // a tared cup shows no more than none
					return
				}
				before, step := len(on.Mix.Pours), on.Mix.Step
				v, refusal := w.ask(request.ConfirmStep{Batch: on.ID, Step: string(on.Mix.Step)})
				if refusal != nil {
					// Who did both does not know what to answer, and does not.
					if tared := w.keyed > 0; refusal.Code == guide.AmbiguousTare && w.on == on.ID && (w.keyed == 0 || w.raised == 0) {
						w.ask(request.ConfirmStep{Batch: on.ID, Step: string(on.Mix.Step), Tared: &tared})
					}
					return
				}
				w.keyed, w.raised = 0, 0
				after := w.b.state.Batches[v.ID]
				if step == guide.PourOver && after.Mix.Step != step {
					w.isIn(rt, after)
				}
				if len(after.Mix.Pours) == before {
					return
				}
				// With an empty pan the mix may be in the hand: what a tare does then is
				// model/weigh's to tell.
				if w.on != v.ID && w.on != "" {
					rt.Fatalf("%+v was booked to %s while the cup of %q stood on the scale; cups %v, tared %v, showing %v",
						after.Mix.Pours[before], v.ID, w.on, w.cups, w.tareG, w.shows())
				}
			},
			"pour over": func(rt *rapid.T) {
				on := weighed()
				if on == nil || w.on != on.ID {
					return
				}
				to := request.PourMixOver{Batch: on.ID, Cup: "cup-130"}
				emptyG := rapid.Float64Range(17.5, 18.5).Draw(rt, "new cup")
				if rapid.Bool().Draw(rt, "typed") {
					to.EmptyG = new(math.Round(10*emptyG) / 10)
				}
				if _, refusal := w.ask(to); refusal == nil {
					w.newG[on.ID] = emptyG
				}
			},
			"into the new cup": func(rt *rapid.T) {
				on := weighed()
				if on == nil || on.Mix.Step != guide.PourOver || w.newG[on.ID] == 0 {
					return
				}
				id, old := on.ID, w.cups[on.ID]
				w.lift()
				if on.Mix.Over.To.EmptyG == 0 {
					w.cups[id] = w.newG[id]
					w.put(id)
					w.ask(request.ConfirmStep{Batch: id, Step: string(guide.PourOver)})
					w.lift()
				}
				content := old - w.emptyG[id]
				w.emptyG[id], w.newG[id] = w.newG[id], 0
				w.cups[id] = w.emptyG[id] + content*rapid.Float64Range(0.98, 1).Draw(rt, "kept")
				w.put(id)
			},
			"keep the old cup": func(*rapid.T) {
				if on := weighed(); on != nil && on.Mix.Step == guide.PourOver && w.on == on.ID && w.newG[on.ID] > 0 {
					w.ask(request.PourMixOver{Batch: on.ID, Undo: true})
				}
			},
			"answer": func(*rapid.T) {
				if slices.Contains(w.scaleView().WhichCup, w.on) {
					w.ask(request.TakeUp{Batch: w.on})
				}
			},
			"take up": func(rt *rapid.T) {
				if len(w.cups) > 0 {
					id := anyCup(rt)
					if id != "" && (w.on == "" || w.on == id) {
						w.ask(request.TakeUp{Batch: id})
					}
				}
			},
			"stirred": func(rt *rapid.T) {
				if len(w.cups) > 0 {
					id := anyCup(rt)
					if b := w.b.state.Batches[id]; b != nil && b.Mix.Step.Stirs() {
						w.ask(request.ConfirmStep{Batch: id, Step: string(b.Mix.Step)})
					}
				}
			},
			"": func(rt *rapid.T) {
				w.looks(rt)
				for id := range w.cups { // those that are done are of no interest here
					if b := w.b.state.Batches[id]; b == nil || b.Phase != lifecycle.Mixing {
						if w.on == id {
							w.lift()
						}
						delete(w.cups, id)
					}
				}
			},
		}
		// A person does the right thing most of the time.
		for _, often := range []string{"pour", "confirm", "answer", "put its own"} {
			for _, again := range []string{" ", "  ", "   "} {
				actions[often+again] = actions[often]
			}
		}
		rt.Repeat(actions)
	})
}
