package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// A scale that is unplugged and back within a second sends nothing for a moment. What it showed before counts for nothing
// until a line comes: something else may lie on the pan by now.
func TestAWeightOfBeforeTheLossIsNotTaken(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 72, 6*time.Second)
	s.enter(scaleLink{scale: "scale-1", detail: "unplugged"})
	s.turn()
	s.enter(scaleLink{scale: "scale-1", up: true})
	s.pass(time.Second, rooms{})
	if v := s.scaleView(); v.Stable || v.Quality != view.QualityBad || v.Why == "" {
		t.Errorf("connected again without a line: %+v", v)
	}
	if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "ink"}); refusal == nil || refusal.Kind != request.NotNow {
		t.Errorf("confirmed without a line: %v", refusal)
	}
	s.weighs(72, time.Second)
	if v := s.scaleView(); !v.Stable || v.Quality != view.QualityGood {
		t.Errorf("with a line: %+v", v)
	}
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
}
