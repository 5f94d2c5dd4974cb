package bench

import (
	"cmp"
	"slices"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/weigh"
)

// cupBack returns what the scale shows once the cup is back as it was, while it may be off the scale or tared; nil
// otherwise.
func cupBack(p weigh.Pan) *float64 {
	if p.State != weigh.PanZeroed && p.State != weigh.PanAsked {
		return nil
	}
	return &p.HeldG
}

// pouring is the bar of a pour against the live weight, with what to do about too much of it
// once the weight is still.
func (b *Bench) pouring(batch *record.Batch, s *scale, still bool) *view.Pouring {
	m := batch.Mix
	bar, ok := m.Pouring()
	if !ok || !s.last.HasWeight || !m.Pan.Holds() {
		return nil
	}
	poured := m.Pan.PouredG(s.last.Grams)
	v := &view.Pouring{Part: bar.Part, PouredG: poured, TargetG: bar.TargetG, LowG: bar.LowG, HighG: bar.HighG}
	var cures []guide.Cure
	v.Verdict, cures = m.Judge(poured)
	v.Accepted = v.Verdict == guide.Right || v.Verdict == guide.Below && poured >= bar.LeastG-1e-6
	if still {
		v.Cures = b.withCups(cures, batch.Cup)
	}
	return v
}

// withCups names for each cure that asks for a larger cup the kind that is large enough. Where
// the shop has none, nobody is told to use one: the mix could not be poured over.
func (b *Bench) withCups(cures []guide.Cure, cup string) []guide.Cure {
	var possible []guide.Cure
	for _, c := range cures {
		if c.Kind == guide.LargerCup {
			if c.Cup = b.largerCup(cup, c.TotalG); c.Cup == "" {
				continue
			}
		}
		possible = append(possible, c)
	}
	return possible
}

// largerCup returns the smallest kind of cup, other than a given one, that takes a finished mix of so many g; empty
// where the shop has none.
func (b *Bench) largerCup(than string, totalG float64) string {
	var large []config.Cup
	for _, k := range b.shop.Cups {
		if k.ID != than && k.FillMaximumG >= totalG {
			large = append(large, k)
		}
	}
	if len(large) == 0 {
		return ""
	}
	return slices.MinFunc(large, func(x, y config.Cup) int { return cmp.Compare(x.FillMaximumG, y.FillMaximumG) }).ID
}

// notTaken is what a confirmation would take from the scale now, nil for nothing.
func notTaken(m guide.Mix, s *scale) *view.NotTaken {
	if !s.last.HasWeight || !m.Pan.Holds() {
		return nil
	}
	n, ok := m.NotTaken(s.last.Grams)
	if !ok {
		return nil
	}
	return &view.NotTaken{Step: n.Step, Part: n.Part, G: n.G, MustName: n.MustName}
}

// pours lists the taken pours of a guided mix.
func pours(m guide.Mix) []view.Pour {
	if m.ByHand {
		return nil
	}
	var list []view.Pour
	for _, p := range m.Pours {
		list = append(list, view.Pour{Seq: p.Seq, Part: p.Part, G: p.G, At: p.RoseAt, Step: p.Step, Can: p.Can, Material: p.Material, Kept: p.Kept})
	}
	return list
}

// byBench is the last step of a mix that the bench confirmed by itself, nil once that cannot be
// undone.
func byBench(s record.State, mix string, now time.Time) *view.ByBench {
	for _, u := range slices.Backward(s.Undoables) {
		was := u.Batches[mix]
		if u.Kind != record.KindConfirmed || was == nil || now.Sub(u.At) > undoWithin {
			continue
		}
		return &view.ByBench{Seq: u.Seq, Step: was.Mix.Step, At: u.At, Until: u.At.Add(undoWithin)}
	}
	return nil
}
