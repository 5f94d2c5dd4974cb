package plan

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const minute = time.Minute

// usual is a run in the usual cup: 60 g of ink at 4:1 with 10 % thinner are 82.5 g of mix, and
// the cup takes 110.
func usual(prints int) Run {
	return Run{
		Prints: prints, GramsPerPrint: 0.05, Presses: 1, PrintsPerHour: 600, CupMinimumG: 82.5, CupMaximumG: 110,
		MixingTakes: 15 * minute, Low: Fixed(5 * time.Hour),
	}
}

func planned(t testing.TB, r Run) Plan {
	t.Helper()
	p, err := For(r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func TestGramsPerPrint(t *testing.T) {
	near(t, "12 cm² of 30 µm at 1.25 g/cm³", GramsPerPrint(12, 30, 1.25), 0.045)
}

// 4.75 h at 600 an hour are 2,850 prints or 142.5 g: the cup ends before the life does.
func TestARunOfFullCups(t *testing.T) {
	p := planned(t, usual(2200*3))
	if len(p.Mixes) != 3 || p.Cause != NoWaste {
		t.Fatalf("%+v", p)
	}
	for i, m := range p.Mixes {
		near(t, "size", m.SizeG, 110)
		begun := time.Duration(i) * 220 * minute // 2,200 prints
		if m.Begun != begun || m.PrintFrom != begun+15*minute || m.UsedUp != begun+235*minute || m.LowAt != begun+5*time.Hour || m.Press != 1 {
			t.Errorf("mix %d: %+v", i+1, m)
		}
	}
	if p.Spare != 65*minute || p.Finish != 675*minute || p.Waits != 0 {
		t.Errorf("spare %v, finish %v, waits %v", p.Spare, p.Finish, p.Waits)
	}
	near(t, "mixed", p.MixedG, 330)
}

// One print more than full cups: four smaller ones rather than three full and one for a single
// print, and nothing is left over.
func TestOnePrintMore(t *testing.T) {
	p := planned(t, usual(2200*3+1))
	if len(p.Mixes) != 4 || p.Cause != NoWaste || p.Mixes[0].Prints != 1651 || p.Mixes[3].Prints != 1650 {
		t.Fatalf("%+v", p)
	}
	near(t, "size of the last", p.Mixes[3].SizeG, 82.5)
}

// 65 g are fewer than the cup's minimum.
func TestARunSmallerThanTheMinimum(t *testing.T) {
	p := planned(t, usual(1300))
	if len(p.Mixes) != 1 || p.Cause != BecauseOfRun {
		t.Fatalf("%+v", p)
	}
	near(t, "left", p.LeftG, 17.5)
}

// Two hours and three quarters at 600 an hour print 1,500 in the 2.5 h that mixing leaves: 75 g
// of the 82.5 that must be mixed. Three full cups would do if they lasted.
func TestALifeTooShortForTheMinimum(t *testing.T) {
	r := usual(6000)
	r.Low = Fixed(165 * minute)
	p := planned(t, r)
	if len(p.Mixes) != 4 || p.Cause != BecauseLife || p.Spare != 0 {
		t.Fatalf("%+v", p)
	}
	near(t, "thrown away of each", p.Mixes[0].LeftG, 7.5)
	near(t, "thrown away", p.LeftG, 30)
	near(t, "for the life", p.LeftForLifeG, 30)

	// 1,300 prints are 65 g: 17.5 g are left of a cup's minimum whatever its life, and a second
	// cup for the rest of them costs 82.5 more.
	r = usual(1300)
	r.Low = Fixed(75 * minute)
	p = planned(t, r)
	if len(p.Mixes) != 3 || p.Cause != BecauseLife {
		t.Fatalf("%+v", p)
	}
	near(t, "left", p.LeftG, 182.5)
	near(t, "for the life", p.LeftForLifeG, 165)
}

func TestResidue(t *testing.T) {
	r := usual(2000 * 2)
	r.ResidueG = 10
	p := planned(t, r)
	if len(p.Mixes) != 2 || p.Cause != OnlyResidue {
		t.Fatalf("%+v", p)
	}
	near(t, "left", p.LeftG, 20)
}

func TestRestAndMixingAreTakenFromTheLife(t *testing.T) {
	r := usual(2200)
	r.Rest = 66 * minute // the spare of a full cup is 65
	if p := planned(t, r); len(p.Mixes) != 2 || p.Mixes[1].Begun != 110*minute || p.Mixes[1].PrintFrom != 191*minute {
		t.Errorf("%+v", p)
	}
	r.Rest = 65 * minute
	if p := planned(t, r); len(p.Mixes) != 1 || p.Spare != 0 {
		t.Errorf("%+v", p)
	}
}

// Three presses, one bench: the first mixes are made one after the other.
func TestPressesShareTheBench(t *testing.T) {
	r := usual(6600)
	r.Presses = 3
	p := planned(t, r)
	if len(p.Mixes) != 3 || p.Finish != 265*minute {
		t.Fatalf("%+v", p)
	}
	for i, m := range p.Mixes {
		if m.Press != i+1 || m.Begun != time.Duration(i)*15*minute {
			t.Errorf("%+v", m)
		}
	}
}

// Full cups make 10,000 prints in five mixes; a sixth lets two presses end together.
func TestFasterWithMoreMixes(t *testing.T) {
	r := usual(10000)
	r.Presses = 2
	p := planned(t, r)
	if len(p.Mixes) != 5 || len(p.Faster) != 1 || p.Faster[0].Mixes != 6 || p.Faster[0].Finish >= p.Finish {
		t.Fatalf("%d mixes, %+v", len(p.Mixes), p.Faster)
	}
	near(t, "left with six", p.Faster[0].LeftG, 0)
}

// So many presses that the bench cannot keep up: they wait, and no mix ages for it.
func TestABusyBench(t *testing.T) {
	r := usual(40 * 100)
	r.Presses, r.CupMinimumG, r.CupMaximumG = 10, 0, 5 // ten minutes of printing a mix
	p := planned(t, r)
	if p.Waits == 0 {
		t.Fatalf("%+v", p)
	}
	for _, m := range p.Mixes {
		if m.PrintFrom-m.Begun != 15*minute {
			t.Errorf("%+v", m)
		}
	}
}

func TestImpossible(t *testing.T) {
	for _, row := range []struct {
		want   string
		change func(*Run)
	}{
		{"mixing and rest take 6h0m0s", func(r *Run) { r.MixingTakes = 6 * time.Hour }},
		{"mixing and rest take 5h0m0s", func(r *Run) { r.Rest = 285 * minute }},
		{"one print take 7h15m0s", func(r *Run) { r.PrintsPerHour = 1.0 / 7 }},
		{"one print takes 120 g", func(r *Run) { r.GramsPerPrint = 120 }},
		{"of which 109.9 g stay in it", func(r *Run) { r.ResidueG, r.GramsPerPrint = 109.9, 1 }},
		{"more than 1000 mixes", func(r *Run) { r.Prints = 3_000_000 }},
		{"more than 1000 mixes", func(r *Run) { r.Low = Fixed(16 * minute) }},
		{"good for 0s by its low bound", func(r *Run) {
			r.Prints, r.GramsPerPrint = 600, 0.5 // three full cups
			r.Low = func(begun time.Duration) time.Duration {
				if begun > 10*minute {
					return 0
				}
				return 5 * time.Hour
			}
		}},
	} {
		r := usual(20000)
		row.change(&r)
		_, err := For(r)
		if !errors.Is(err, ErrImpossible) || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%v, want %q", err, row.want)
		}
	}
}

func TestValidNamesAllFaults(t *testing.T) {
	nan := math.NaN()
	_, err := For(Run{GramsPerPrint: nan, PrintsPerHour: nan, CupMinimumG: nan, CupMaximumG: nan, ResidueG: nan, MixingTakes: -1, Rest: -1})
	if err == nil || errors.Is(err, ErrImpossible) {
		t.Fatal(err)
	}
	for _, want := range []string{"0 prints", "NaN g a print", "0 presses", "NaN prints an hour", "takes NaN g", "minimum of NaN", "residue of NaN", "mixing takes", "a rest of", "no life"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v\nlacks %q", err, want)
		}
	}
	r := usual(10)
	r.CupMinimumG = 111
	if _, err := For(r); err == nil || !strings.Contains(err.Error(), "want 0 to what it takes, 110 g") {
		t.Error(err)
	}
}

// A year of a big shop, and a life that is asked for each time. Budget: a millisecond.
func BenchmarkFor(b *testing.B) {
	r := usual(2_000_000)
	r.Presses = 8
	for b.Loop() {
		planned(b, r)
	}
}

// kept are the conditions on any plan.
func kept(t *rapid.T, r Run, p Plan) {
	prints, mixed := 0, 0.0
	pressFree, benchFree := make([]time.Duration, r.Presses), time.Duration(0)
	spare := time.Duration(math.MaxInt64)
	for i, m := range p.Mixes {
		if m.Prints < 1 || m.SizeG < r.CupMinimumG || m.SizeG > r.CupMaximumG*(1+1e-6) || m.SizeG < float64(m.Prints)*r.GramsPerPrint+r.ResidueG-1e-9 {
			t.Fatalf("mix %d: %+v", i+1, m)
		}
		if m.UsedUp > m.Begun+r.Low(m.Begun)+2*time.Microsecond {
			t.Fatalf("mix %d is used up after its low bound: %+v", i+1, m)
		}
		if m.Begun < benchFree || m.PrintFrom < pressFree[m.Press-1] || m.PrintFrom != m.Begun+r.MixingTakes+r.Rest {
			t.Fatalf("mix %d collides: %+v", i+1, m)
		}
		if took := (m.UsedUp - m.PrintFrom).Hours() * r.PrintsPerHour; math.Abs(took-float64(m.Prints)) > 1e-6*(1+took) {
			t.Fatalf("mix %d has time for %v prints: %+v", i+1, took, m)
		}
		benchFree, pressFree[m.Press-1] = m.Begun+r.MixingTakes, m.UsedUp
		prints, mixed, spare = prints+m.Prints, mixed+m.SizeG, min(spare, m.LowAt-m.UsedUp)
	}
	if prints != r.Prints || math.Abs(mixed-p.MixedG) > 1e-6 || math.Abs(p.MixedG-p.PrintedG-p.LeftG) > 1e-6 || spare != p.Spare {
		t.Fatalf("%d prints, %v g: %+v", prints, mixed, p)
	}
}

func drawRun(t *rapid.T, mostPrints int) Run {
	r := Run{
		Prints:        rapid.IntRange(1, mostPrints).Draw(t, "prints"),
		GramsPerPrint: float64(rapid.IntRange(1, 20).Draw(t, "g")),
		Presses:       rapid.IntRange(1, 4).Draw(t, "presses"),
		PrintsPerHour: float64(rapid.IntRange(1, 6).Draw(t, "rate")),
		CupMaximumG:   float64(rapid.IntRange(1, 100).Draw(t, "maximum")),
		MixingTakes:   time.Duration(rapid.IntRange(0, 30).Draw(t, "mixing")) * minute,
		Rest:          time.Duration(rapid.IntRange(0, 30).Draw(t, "rest")) * minute,
	}
	r.CupMinimumG = r.CupMaximumG * float64(rapid.IntRange(0, 4).Draw(t, "minimum")) / 4
	r.ResidueG = r.CupMaximumG * float64(rapid.IntRange(0, 3).Draw(t, "residue")) / 8
	return r
}

// bruteForce tries every way of parting the prints among mixes of any size, and returns the
// least mass mixed and the fewest mixes for it.
func bruteForce(prints, most int, mass func(n int) float64) (leastG float64, mixes int) {
	leastG = math.Inf(1)
	var part func(left, largest, k int, sum float64)
	part = func(left, largest, k int, sum float64) {
		if left == 0 {
			if sum < leastG-1e-9 || sum < leastG+1e-9 && k < mixes {
				leastG, mixes = sum, k
			}
			return
		}
		for n := min(left, largest); n >= 1; n-- {
			part(left-n, n, k+1, sum+mass(n))
		}
	}
	part(prints, most, 0, 0)
	return leastG, mixes
}

// With the same life for every mix nothing beats the plan: every parting of up to 14 prints into
// mixes of any sizes is tried.
func TestNoPlanWastesLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t, 14)
		low := time.Duration(rapid.IntRange(10, 400).Draw(t, "low")) * minute
		r.Low = Fixed(low)
		most := 0
		for n := 1; n <= r.Prints; n++ {
			printed := time.Duration(n) * time.Hour / time.Duration(r.PrintsPerHour)
			if float64(n)*r.GramsPerPrint+r.ResidueG <= r.CupMaximumG && r.MixingTakes+r.Rest+printed <= low {
				most = n
			}
		}
		p, err := For(r)
		if most == 0 {
			if !errors.Is(err, ErrImpossible) {
				t.Fatalf("%+v is planned: %+v, %v", r, p, err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		kept(t, r, p)
		leastG, mixes := bruteForce(r.Prints, most, func(n int) float64 { return max(r.CupMinimumG, float64(n)*r.GramsPerPrint+r.ResidueG) })
		if math.Abs(p.MixedG-leastG) > 1e-6 || len(p.Mixes) != mixes {
			t.Fatalf("%d mixes of %v g, by brute force %d of %v g: %+v", len(p.Mixes), p.MixedG, mixes, leastG, p)
		}
		r.Low = Fixed(1000 * time.Hour)
		if long, err := For(r); err != nil || math.Abs(p.LeftG-p.LeftForLifeG-long.LeftG) > 1e-6 || long.LeftForLifeG != 0 {
			t.Fatalf("%v g left, %v of them for the life; with a long one %v, %v", p.LeftG, p.LeftForLifeG, long.LeftG, err)
		}
	})
}

// Where the life depends on the time, no smaller number of equal mixes can be printed in time.
// On one press the mixes follow each other by the longer of printing and mixing, which is
// reckoned here by itself.
func TestFewestEqualMixesForAChangingLife(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t, 60)
		r.Presses = 1
		hourly := rapid.SliceOfN(rapid.IntRange(20, 400), 24, 24).Draw(t, "low by the hour")
		r.Low = func(begun time.Duration) time.Duration {
			return time.Duration(hourly[int(begun/time.Hour)%24]) * minute
		}
		feasible := func(mixes int) bool {
			begun := time.Duration(0)
			for i := range mixes {
				n := (r.Prints + mixes - 1 - i) / mixes
				printing := time.Duration(math.Round(float64(n) / r.PrintsPerHour * 3.6e12))
				if float64(n)*r.GramsPerPrint+r.ResidueG > r.CupMaximumG+1e-9 || r.MixingTakes+r.Rest+printing > r.Low(begun) {
					return false
				}
				begun += max(printing, r.MixingTakes)
			}
			return true
		}
		want := 0
		for mixes := 1; mixes <= r.Prints && want == 0; mixes++ {
			if feasible(mixes) {
				want = mixes
			}
		}
		p, err := For(r)
		if want == 0 {
			if !errors.Is(err, ErrImpossible) {
				t.Fatalf("%d mixes, %v", len(p.Mixes), err)
			}
			return
		}
		if err != nil || len(p.Mixes) != want {
			t.Fatalf("%d mixes, %v; want %d", len(p.Mixes), err, want)
		}
		kept(t, r, p)
	})
}

func TestFasterIsFasterAndNeverLessWaste(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t, 200)
		r.Low = Fixed(8 * time.Hour)
		p, err := For(r)
		if err != nil {
			return
		}
		finish, left, mixes := p.Finish, p.LeftG, len(p.Mixes)
		for _, f := range p.Faster {
			if f.Finish >= finish || f.LeftG < left-1e-6 || f.Mixes <= mixes {
				t.Fatalf("%+v after %v, %v g, %d mixes", f, finish, left, mixes)
			}
			finish, left, mixes = f.Finish, f.LeftG, f.Mixes
		}
	})
}
