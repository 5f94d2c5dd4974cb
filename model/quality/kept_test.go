package quality

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestKaplanMeier: remission of 21 leukaemia patients under 6-mercaptopurine in weeks, + means
// still in remission: 6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+. Data
// and estimates are those of Freireich et al., Blood 21 (1963) 699, as most textbooks on survival
// analysis print them (from memory). Weeks are divided by 100 here to be risks.
func TestKaplanMeier(t *testing.T) {
	var batches []Forecasted
	for _, week := range []float64{6, 6, 6, 7, 10, 13, 16, 22, 23} {
		batches = append(batches, Forecasted{week / 100, true})
	}
	for _, week := range []float64{6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35} {
		batches = append(batches, Forecasted{week / 100, false})
	}
	k := NewKept(batches)
	want := map[float64]float64{6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
	if len(k.Points) != len(want) || k.Gone != 9 || k.Good != 12 {
		t.Fatalf("%d points, %d gone, %d good", len(k.Points), k.Gone, k.Good)
	}
	for _, p := range k.Points {
		week := math.Round(p.Risk * 100)
		if alive := 1 - p.Share; math.Abs(alive-want[week]) > 6e-4 {
			t.Errorf("week %v: %.4f, want %.3f", week, alive, want[week])
		}
		if !(p.Interval.Low <= p.Share && p.Share <= p.Interval.High) {
			t.Errorf("week %v: %v is outside %v", week, p.Share, p.Interval)
		}
	}
	if !math.IsNaN(k.Share) {
		t.Errorf("nine batches that went off are too few for a share, got %v", k.Share)
	}
}

// TestKeptOfTheLastBatch: that the last batch of all went off does not make its share certain.
func TestKeptOfTheLastBatch(t *testing.T) {
	for _, before := range [][]Forecasted{nil, {{0.4, true}, {0.5, false}, {0.6, true}}} {
		k := NewKept(append(before, Forecasted{0.9, true}))
		last := k.Points[len(k.Points)-1]
		if last.Share != 1 || last.Interval.High != 1 || last.Interval.Low > 0.9 {
			t.Errorf("after %d batches: %+v", len(before), last)
		}
		for i := 1; i < len(k.Points); i++ {
			if k.Points[i].Interval.Low < k.Points[i-1].Interval.Low {
				t.Errorf("the least share falls: %+v", k.Points)
			}
		}
	}
}

// TestKeptOfTrueForecasts: where batches go off exactly as their risks say, and some are used up
// before, the shares are the risks; where lives are half as long as forecast, they are not.
func TestKeptOfTrueForecasts(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	made := func(cheat func(u float64) float64) Kept {
		var batches []Forecasted
		for range 4000 {
			u, used := cheat(random.Float64()), random.Float64()*1.3
			batches = append(batches, Forecasted{Risk: math.Min(u, math.Min(used, 1)), Gone: u <= used})
		}
		return NewKept(batches)
	}
	good := made(func(u float64) float64 { return u })
	for _, p := range good.Points {
		if math.Abs(p.Share-p.Risk) > 0.05 {
			t.Fatalf("risk %v: share %v", p.Risk, p.Share)
		}
	}
	if math.Abs(good.Share-0.8) > 0.03 || !holds(good.Interval, 0.8) {
		t.Errorf("share %v %v, want 0.8", good.Share, good.Interval)
	}
	if bad := made(func(u float64) float64 { return u * u * u }); holds(bad.Interval, 0.8) {
		t.Errorf("wrong forecasts are told as kept: %v %v", bad.Share, bad.Interval)
	}
}

func TestKeptLeavesOutWhatIsNoRisk(t *testing.T) {
	k := NewKept([]Forecasted{{math.NaN(), true}, {-1, true}, {2, false}, {0.5, true}})
	if k.Gone != 1 || k.Good != 0 || len(k.Points) != 1 || k.Points[0].Share != 1 {
		t.Errorf("%+v", k)
	}
}
