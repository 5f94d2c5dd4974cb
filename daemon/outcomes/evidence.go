package outcomes

import (
	"slices"
	"time"

	"potlifed/model/cure"
	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// Ink is an ink with its data sheet.
type Ink struct {
	ID, Hardener string
	Sheet        cure.Ink
}

// Evidence is what the batches of one ink say about its life.
type Evidence struct {
	Pair    learn.Pair
	LeftOut []learn.LeftOut
	Tests   []learn.Test
	// LongestGap is the longest time between two readings of the air in use, 0 where it is
	// not known.
	LongestGap time.Duration
}

// Sort assigns closed batches, and tests in jars that are over, to their inks and returns the evidence in the order of the inks.
// Batches of an ink that is not in the list are counted by its id.
func Sort(past Past, inks []Ink) (told []Evidence, unknown map[string]int) {
	place := map[string]int{}
	for i, k := range inks {
		place[k.ID] = i
		told = append(told, Evidence{Pair: learn.Pair{Ink: k.ID, Hardener: k.Hardener, Sheet: k.Sheet}})
	}
	unknown = map[string]int{}
	for _, b := range past.Batches {
		i, ok := place[b.Ink]
		if !ok {
			unknown[b.Ink]++
			continue
		}
		t := &told[i]
		for _, test := range b.Tests {
			t.Tests = append(t.Tests, learn.Test{Batch: b.ID, Kind: test.Kind, Passed: test.Result == "pass"})
		}
		one, why := b.evidence()
		if why != "" {
			t.LeftOut = append(t.LeftOut, learn.LeftOut{ID: b.ID, Why: why})
			continue
		}
		t.Pair.Records = append(t.Pair.Records, one)
	}
	for i := range told {
		kept, left := learn.OneAMix(told[i].Pair.Records, told[i].Pair.Sheet)
		told[i].Pair.Records = kept
		told[i].LeftOut = append(told[i].LeftOut, left...)
		for _, test := range past.Jars[told[i].Pair.Ink] {
			if !test.EndedAt.IsZero() {
				told[i].Pair.Jars = append(told[i].Pair.Jars, test.Evidence())
			}
		}
	}
	return told, unknown
}

// evidence returns what a batch says about its end, or why it says nothing.
func (b Batch) evidence() (one learn.Record, why string) {
	if b.AtLeast {
		return one, "its age was only a lower bound"
	}
	said, err := learn.Account{
		MixedAt: b.MixedAt, ClosedAt: b.ClosedAt, LastGoodAt: b.GoodAt,
		Outcome: b.Outcome, StillGood: b.StillGood, SeenNow: b.Seen == lifecycle.SeenNow,
	}.Evidence()
	if err != nil {
		return one, err.Error()
	}
	one = learn.Record{ID: b.ID, Mix: b.Family, Kind: said.Kind, From: b.AtGood, To: b.AtClose, Weighing: b.WeighingU, Facts: b.Facts}
	if said.Kind == learn.Alive && said.To < b.ClosedAt.Sub(b.MixedAt) {
		one.To = b.AtGood
	}
	if said.Kind != learn.Between {
		one.From = learn.Lived{}
	}
	return one, ""
}

// Learned is the result for an ink, with the tests that support it.
type Learned struct {
	learn.Result
	Tests []learn.Test
}

// Learn fits the inks to how their batches ended.
func Learn(told []Evidence) []Learned {
	var all []Learned
	for i, r := range Fit(told) {
		all = append(all, Learned{Result: r, Tests: told[i].Tests})
	}
	return all
}

// Fit fits the inks together and returns a result for each, in the order of the evidence.
// The batches that were left out before the fit come first among those left out.
func Fit(evidence []Evidence, options ...learn.Option) []learn.Result {
	pairs := make([]learn.Pair, len(evidence))
	for i, e := range evidence {
		pairs[i] = e.Pair
	}
	results := learn.FitShop(pairs, options...)
	for i, e := range evidence {
		results[i].LeftOut = slices.Concat(e.LeftOut, results[i].LeftOut)
	}
	return results
}
