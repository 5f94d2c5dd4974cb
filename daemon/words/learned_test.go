package words

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"potlifed/model/learn"
)

// TestLearnVerdict: the sentence has the figures of the result, and no word of it is outside the
// catalogue.
func TestLearnVerdict(t *testing.T) {
	// estimate is a ratio of lives with its 90 % interval.
	estimate := func(value, low, high float64) learn.Estimate {
		return learn.Estimate{Value: value, Interval: &[2]float64{low, high}, Learned: true}
	}
	known := learn.Estimate{Value: 1, Learned: true}
	all := func(r learn.Result) learn.Result {
		r.MoistureShare, r.ActivationKJPerMol, r.Sigma = known, known, known
		return r
	}
	for _, c := range []struct {
		want   string
		result learn.Result
	}{
		{"12 ends, 48 used up in time: this ink lasts 9 % less than its data sheet says, 90 % interval 3 to 15; humidity share, activation energy, batch-to-batch spread still assumed",
			learn.Result{Ends: 12, Censored: 48, LifeRatio: estimate(0.91, 0.85, 0.97)}},
		{"1 end, 9 used up in time, 2 left out: this ink lasts 20 % more than its data sheet says, 90 % interval 10 to 30 (longer than the data sheet somewhere between its ends: shown, not used without an adhesion or rub test)",
			all(learn.Result{Ends: 1, Censored: 9, LeftOut: make([]learn.LeftOut, 2), LifeRatio: estimate(1.2, 1.1, 1.3), LongerThanSheet: true})},
		{"9 ends, 9 used up in time: this ink lasts as long as the usual range, assumed for want of a data sheet, says, 90 % interval 5 less to 6 more",
			all(learn.Result{Ends: 9, Censored: 9, Assumed: true, LifeRatio: estimate(1, 0.95, 1.06)})},
		{"9 ends, 9 used up in time: this ink perhaps lasts 4 % less than its data sheet says, 90 % interval 10 less to 2 more", all(learn.Result{Ends: 9, Censored: 9, LifeRatio: estimate(0.96, 0.9, 1.02)})},
		{"9 ends, 9 used up in time: this ink perhaps lasts 4 % more than its data sheet says, 90 % interval 2 less to 10 more", all(learn.Result{Ends: 9, Censored: 9, LifeRatio: estimate(1.04, 0.98, 1.1)})},
		{"0 ends, 0 used up in time: no batch to learn from, its data sheet stands; life still assumed", all(learn.Result{})},
		{"2 ends, 1 used up in time: too few to say that this ink is not as its data sheet says; life still assumed", all(learn.Result{Ends: 2, Censored: 1})},
		{"nothing can be learned from these batches: the calculation gave no result", learn.Result{Fault: "the fit did not settle"}},
	} {
		if got := plainly(Locale{}.LearnVerdict(c.result)); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
		other := Locale{Language: Pseudo(English())}
		said := append(other.LearnCautions(c.result), other.LearnVerdict(c.result))
		for _, text := range said {
			if !strings.HasPrefix(text, "[") || !strings.HasSuffix(text, "]") {
				t.Errorf("%q is in another language", text)
			}
		}
	}
}

func TestLearnCautions(t *testing.T) {
	got := Locale{}.LearnCautions(learn.Result{Ends: 1, Censored: 3, LongerThanSheet: true, PriorNone: true})
	if len(got) != 2 || !strings.HasPrefix(plainly(got[0]), "75 % of the batches were used up") || !strings.Contains(got[1], "adhesion or rub test") {
		t.Errorf("%q", got)
	}
	for err, want := range map[error]string{
		fmt.Errorf("x: %w", learn.ErrNeedsTest): "rub test", learn.ErrNothingLearned: "data sheet stands", errors.New("y"): "no result",
	} {
		if got := (Locale{}).LearnRefusal(err); !strings.Contains(got, want) {
			t.Errorf("%v: %q", err, got)
		}
	}
}
