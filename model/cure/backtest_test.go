package cure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// The states of knowledge that a snapshot is taken in.
var knowledge = []string{"fresh", "seen good", "stale", "gap", "few days"}

// snapshot is one batch's forecast at one moment, and what became of it.
type snapshot struct {
	low, expected, high, end     float64 // hours from mixing
	sheetLow, sheetMid, sheetEnd float64 // what the data sheet's clock says
	plain                        float64 // (1-D)/r with the air of now
	hour, season, horizon, knows int
}

// take lets one batch live to a moment that does not depend on its end, and asks. A batch that somebody would have found over is not
// there any more to be asked about: ok is false, and another is taken. So it is with one that outlives the climate.
func take(c climate, n nature, knows int, rng *rand.Rand) (snapshot, bool) {
	known := 14 * 24 * time.Hour
	if knowledge[knows] == "few days" {
		known = time.Duration(rng.IntN(4)) * 24 * time.Hour
	}
	mixedAt := someTime(c, rng)
	s := anySituation(rng)
	sh := newShop(s, n.draw(rng, s), c, mixedAt, known)
	end, ok := sh.truth.end(c, mixedAt)
	if !ok {
		return snapshot{}, false
	}
	target := 1.2 * math.Pow(rng.Float64(), 1.6) // the later horizons are filled by silences and gaps as well
	limit := c.end().Add(-48 * time.Hour)
	switch knowledge[knows] {
	case "seen good":
		sh.measure(limit, 0.4+0.6*rng.Float64())
		if end <= sh.now.Sub(mixedAt) {
			return snapshot{}, false
		}
		sh.cloud.Good()
		sh.measure(limit, sh.cloud.Spent()+0.3*rng.Float64())
	case "stale":
		sh.measure(limit, 0.9*target)
		sh.silent(10*time.Minute + time.Duration(rng.Float64()*float64(4*time.Hour)))
	case "gap":
		sh.measure(limit, 0.7*target)
		sh.down(time.Hour + time.Duration(rng.Float64()*float64(9*time.Hour)))
		sh.measure(sh.now.Add(time.Duration(rng.Float64()*float64(2*time.Hour))), math.Inf(1))
	default:
		sh.measure(limit, target)
	}
	ends := sh.forecast()
	shot := snapshot{low: ends.Low.Hours(), expected: ends.Expected.Hours(), high: ends.High.Hours(), end: end.Hours(), knows: knows}
	shot.plain = sh.now.Sub(mixedAt).Hours() + (1-sh.cloud.Spent())/sh.cloud.Rate(sh.place, sh.read)
	shot.sheetLow, shot.sheetMid, shot.sheetEnd = s.sheet.About.Hours(), s.sheet.About.Hours(), s.sheet.About.Hours()
	if s.sheet.About == 0 {
		shot.sheetLow, shot.sheetEnd = s.sheet.Shortest.Hours(), s.sheet.Longest.Hours()
		shot.sheetMid = (shot.sheetLow + shot.sheetEnd) / 2
	}
	shot.hour, shot.season = sh.now.Hour()/6, season(mixedAt)
	shot.horizon = min(int(sh.cloud.Spent()/0.3), 3)
	return shot, true
}

// season is 0 for December to February, and so on.
func season(t time.Time) int { return int(t.Month()) % 12 / 3 }

// someTime is a minute of the year, each season as likely as the others, with half a month of record before it and a month of air after.
func someTime(c climate, rng *rand.Rand) time.Time {
	const first, last = 17 * 24, 30 * 24
	for want := rng.IntN(4); ; {
		at := c.start.Add(time.Duration((first + rng.Float64()*float64(len(c.hours)-first-last)) * float64(time.Hour))).Truncate(time.Minute)
		if season(at) == want {
			return at
		}
	}
}

// margins are the cells a snapshot belongs to, one for each margin.
var margins = []struct {
	name  string
	cells []string
	of    func(s snapshot) int
}{
	{"hour of day (UTC)", []string{"0 to 6", "6 to 12", "12 to 18", "18 to 24"}, func(s snapshot) int { return s.hour }},
	{"season", []string{"winter", "spring", "summer", "autumn"}, func(s snapshot) int { return s.season }},
	{"horizon (spent)", []string{"under 0.3", "0.3 to 0.6", "0.6 to 0.9", "over 0.9"}, func(s snapshot) int { return s.horizon }},
	{"knowledge", knowledge, func(s snapshot) int { return s.knows }},
}

// tally counts what the bands did.
type tally struct {
	n, covered, below     int
	width, left           float64 // of the band against expected; hours from mixing to the end
	ours, sheet, plainNow float64 // pinball losses, hours
}

func (t *tally) add(s snapshot) {
	t.n++
	if s.end < s.low {
		t.below++
	} else if s.end <= s.high {
		t.covered++
	}
	t.width += (s.high - s.low) / s.expected
	t.left += s.end
	t.ours += pinball(s.end, s.low, s.expected, s.high)
	t.sheet += pinball(s.end, s.sheetLow, s.sheetMid, s.sheetEnd)
	t.plainNow += pinball(s.end, s.plain, s.plain, s.plain)
}

// pinball is the mean loss of the 10, 50 and 90 % points.
func pinball(end, low, expected, high float64) float64 {
	loss := func(p, q float64) float64 { return max(p*(end-q), (p-1)*(end-q)) }
	return (loss(0.1, low) + loss(0.5, expected) + loss(0.9, high)) / 3
}

func (t *tally) coverage() float64   { return 100 * float64(t.covered) / float64(t.n) }
func (t *tally) belowShare() float64 { return 100 * float64(t.below) / float64(t.n) }

func (t *tally) String() string {
	n := float64(t.n)
	return fmt.Sprintf("%6d %8.1f %8.1f %8.2f %8.1f %9.3f %8.3f %8.3f", t.n, t.coverage(), t.belowShare(), t.width/n, t.left/n, t.ours/n, t.sheet/n, t.plainNow/n)
}

// report is the whole and its cells.
type report struct {
	all   tally
	cells [][]tally
}

// backtest takes so many batches in each state of knowledge. All is drawn from PCG(seed, batch).
func backtest(t *testing.T, name string, seed uint64, climates []climate, n nature, each int) report {
	r := report{cells: make([][]tally, len(margins))}
	for i, m := range margins {
		r.cells[i] = make([]tally, len(m.cells))
	}
	for knows := range knowledge {
		for batch := range each {
			rng := rand.New(rand.NewPCG(seed, uint64(knows*1_000_000+batch)))
			for {
				shot, ok := take(climates[batch%len(climates)], n, knows, rng)
				if !ok {
					continue
				}
				r.all.add(shot)
				for i, m := range margins {
					r.cells[i][m.of(shot)].add(shot)
				}
				break
			}
		}
	}
	t.Logf("%s\n%s", name, r.table())
	return r
}

func (r report) table() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-32s %6s %8s %8s %8s %8s %9s %8s %8s\n", "", "n", "in band", "before", "width", "life h", "pinball h", "sheet", "(1-D)/r")
	fmt.Fprintf(&b, "%-32s %s\n", "all", r.all.String())
	for i, m := range margins {
		for k, cell := range m.cells {
			if r.cells[i][k].n >= leastInCell {
				fmt.Fprintf(&b, "%-32s %s\n", m.name+": "+cell, r.cells[i][k].String())
			}
		}
	}
	return b.String()
}

// holds fails the test unless the bands mean what they say, overall and in each cell.
func (r report) holds(t *testing.T) {
	t.Helper()
	if c := r.all.coverage(); !(c >= 77 && c <= 83) {
		t.Errorf("the band holds %.1f %% of the ends, want 77 to 83", c)
	}
	if b := r.all.belowShare(); !(b >= 7 && b <= 13) {
		t.Errorf("%.1f %% end before low, want 7 to 13", b)
	}
	for i, m := range margins {
		for k, cell := range m.cells {
			got := &r.cells[i][k]
			if got.n < leastInCell {
				t.Errorf("%s, %s: only %d batches", m.name, cell, got.n)
			}
			if c := got.coverage(); !(c >= 74 && c <= 86) {
				t.Errorf("%s, %s: the band holds %.1f %% of the ends, want 74 to 86", m.name, cell, c)
			}
		}
	}
}

// beats fails the test unless both rivals lose more.
func (r report) beats(t *testing.T) {
	t.Helper()
	if !(r.all.ours < r.all.sheet && r.all.ours < r.all.plainNow) {
		t.Errorf("mean pinball loss %v h, the data sheet's clock %v, (1-D)/r %v", r.all.ours/float64(r.all.n), r.all.sheet/float64(r.all.n), r.all.plainNow/float64(r.all.n))
	}
}

// statistical skips a long test of chances under -short.
func statistical(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("a statistical test of many batches")
	}
}

// The seeds of the back-tests, fixed before the first run.
const (
	seedMadeUp = 20261101 + iota
	seedBuilding
	seedOutdoors
	seedSecondOrder
	seedHeavyTails
	seedTwoKinds
	seedWrong
)

const (
	batchesEach = 1250 // in each state of knowledge
	leastInCell = 1000 // a cell with fewer says nothing
)

func madeUpFiles(t *testing.T) []climate {
	var all []climate
	for _, m := range madeUpClimates {
		all = append(all, readClimate(t, m.file()))
	}
	return all
}

func TestBandsInMadeUpClimates(t *testing.T) {
	statistical(t)
	r := backtest(t, "three made-up shops", seedMadeUp, madeUpFiles(t), ordinary(), batchesEach)
	r.holds(t)
	r.beats(t)
}

func TestBandsInARecordedClimateIndoors(t *testing.T) {
	statistical(t)
	r := backtest(t, "jfk-2013 through a building", seedBuilding, []climate{recorded(t, "jfk-2013.csv").building()}, ordinary(), batchesEach)
	r.holds(t)
	r.beats(t)
}

func TestBandsInARecordedClimateOutdoors(t *testing.T) {
	statistical(t)
	r := backtest(t, "jfk-2013 outdoors", seedOutdoors, []climate{recorded(t, "jfk-2013.csv")}, ordinary(), batchesEach)
	r.holds(t)
	r.beats(t)
}

func TestBandsForTruthsOutsideThePrior(t *testing.T) {
	statistical(t)
	// Two inks under one name, one a quarter longer-lived than the other.
	halfGap := math.Log(1.25) / 2
	for _, row := range []struct {
		name   string
		seed   uint64
		nature nature
	}{
		{"moisture of second order", seedSecondOrder, nature{moistureOrder: 2, endLn: normal}},
		{"heavy-tailed ends", seedHeavyTails, nature{moistureOrder: 1, endLn: student}},
		{"two kinds of ink under one name", seedTwoKinds, nature{moistureOrder: 1, endLn: normal, lifeLn: func(rng *rand.Rand) float64 {
			if rng.IntN(2) == 0 {
				return halfGap
			}
			return -halfGap
		}}},
	} {
		r := backtest(t, row.name, row.seed, madeUpFiles(t), row.nature, batchesEach/4)
		if c := r.all.coverage(); !(c >= 70 && c <= 90) {
			t.Errorf("%s: the band holds %.1f %% of the ends, want 70 to 90", row.name, c)
		}
	}
}
