package record

import (
	"maps"
	"slices"

	"potlifed/model/adhesion"
)

// countsForAdhesion reports whether a test tells on which side of the adhesion end the mix was: it is of
// adhesion or rub, and it is known when its print was made.
func (e Tested) countsForAdhesion() bool {
	return !e.PrintedAt.IsZero() && e.AgeH > 0 && (e.Test == "adhesion" || e.Test == "rub")
}

// learnAdhesion adds a test to those of its ink, in place of the one that it corrects.
func (s *State) learnAdhesion(ink string, e Tested, seq uint64) {
	if e.Corrects != 0 {
		s.forgetTest(e.Corrects)
	}
	if !e.countsForAdhesion() {
		return
	}
	all := append(slices.Clone(s.AdhesionTests[ink]), adhesion.Test{Seq: seq, Batch: familyOf(e.Batch), AgeH: e.AgeH, Passed: e.Result == "pass"})
	s.setAdhesionTests(ink, all[max(0, len(all)-adhesion.MaxTests):])
}

// forgetTest removes the test of an event that was undone or corrected.
func (s *State) forgetTest(seq uint64) {
	for _, ink := range slices.Sorted(maps.Keys(s.AdhesionTests)) {
		tests := s.AdhesionTests[ink]
		if i := slices.IndexFunc(tests, func(t adhesion.Test) bool { return t.Seq == seq }); i >= 0 {
			s.setAdhesionTests(ink, slices.Delete(slices.Clone(tests), i, i+1))
		}
	}
}

// InkTest is a test that counts for the adhesion of an ink.
type InkTest struct {
	Ink  string        `json:"ink"`
	Test adhesion.Test `json:"test"`
}

// correctedBy returns the test that counts and that a test would replace, nil for none.
func (s State) correctedBy(body Body) *InkTest {
	e, is := body.(Tested)
	if !is || e.Corrects == 0 {
		return nil
	}
	for ink, tests := range s.AdhesionTests {
		if i := slices.IndexFunc(tests, func(t adhesion.Test) bool { return t.Seq == e.Corrects }); i >= 0 {
			return &InkTest{ink, tests[i]}
		}
	}
	return nil
}

// recallTest lets a test count again whose correction was undone, in the place that it had.
func (s *State) recallTest(of *InkTest) {
	if of == nil {
		return
	}
	tests := slices.Clone(s.AdhesionTests[of.Ink])
	place := slices.IndexFunc(tests, func(t adhesion.Test) bool { return t.Seq > of.Test.Seq })
	if place < 0 {
		place = len(tests)
	}
	s.setAdhesionTests(of.Ink, slices.Insert(tests, place, of.Test))
}

// setAdhesionTests replaces the tests of an ink and brings its open batches to what they tell.
func (s *State) setAdhesionTests(ink string, tests []adhesion.Test) {
	s.AdhesionTests = maps.Clone(s.AdhesionTests)
	if s.AdhesionTests == nil {
		s.AdhesionTests = map[string][]adhesion.Test{}
	}
	s.AdhesionTests[ink] = tests
	for _, id := range slices.Sorted(maps.Keys(s.Batches)) {
		if s.Batches[id].Ink == ink {
			s.change(id, s.adhere)
		}
	}
}

// adhere brings a batch to what tests tell of its adhesion end.
func (s *State) adhere(b *Batch) {
	tests := s.AdhesionTests[b.Ink]
	if b.Ensemble == nil || len(tests) == 0 && !b.Ensemble.Adheres() {
		return
	}
	end, known := adhesion.Learn(tests, b.Ensemble.Ink().LRefH, b.Family())
	if !known && !b.Ensemble.Adheres() {
		return
	}
	b.Ensemble = b.Ensemble.Clone()
	var of *adhesion.End
	if known {
		of = &end
	}
	// Quantiles that do not rise, as from a damaged journal, leave the ensemble as it is.
	_ = b.Ensemble.Adhere(of)
}

// changeKnown alters a batch that is open or was closed lately.
func (s *State) changeKnown(id string, f func(b *Batch)) {
	if _, open := s.Batches[id]; open {
		s.change(id, f)
		return
	}
	for i, old := range slices.Backward(s.Closed) {
		if old.ID == id {
			b := *old
			f(&b)
			s.Closed = slices.Clone(s.Closed)
			s.Closed[i] = &b
			return
		}
	}
}
