package study

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/quality"
)

var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func prints(minute int, batch string, n float64, temperature float64) Counts {
	c := Counts{Press: "press-1", Batch: batch, At: start.Add(time.Duration(minute) * time.Minute), Pieces: n, Conditions: Unknown()}
	c.Conditions[quality.Temperature] = temperature
	return c
}

func rejects(minute int, batch, kind string, n float64) Counts {
	c := prints(minute, batch, n, math.NaN())
	c.Kind = kind
	return c
}

func cellsOf(t *Table) []quality.Cell {
	d, _ := t.data(time.UTC)
	return d.Cells
}

func TestCountsOfAQuarterOfAnHourAreOneCell(t *testing.T) {
	table := NewTable(Filter{})
	for _, c := range []Counts{
		prints(0, "a", 30, 20), prints(14, "a", 10, 24), prints(3, "a", 5, math.NaN()), prints(15, "a", 7, 22), prints(3, "b", 9, 22),
		rejects(4, "a", "dust", 2), rejects(14, "a", "dust", 1), rejects(14, "a", "pinholes", 1),
	} {
		table.Add(c)
	}
	d, _ := table.data(time.UTC)
	if len(d.Cells) != 3 || !slices.Equal(d.Kinds, []string{"dust", "pinholes"}) {
		t.Fatalf("%d cells, kinds %q", len(d.Cells), d.Kinds)
	}
	c := d.Cells[0]
	if c.Prints.Prints != 45 || !slices.Equal(c.Defects, []float64{3, 1}) {
		t.Errorf("prints %v, defects %v", c.Prints.Prints, c.Defects)
	}
	// By prints, of those whose temperature is known: (30·20 + 10·24)/40.
	if got := c.Conditions[quality.Temperature]; got != 21 {
		t.Errorf("temperature %v", got)
	}
	if from, to, ok := table.span(); !ok || !from.Equal(start) || !to.Equal(start.Add(30*time.Minute)) {
		t.Errorf("from %v to %v", from, to)
	}
}

func TestCorrectionsAreTakenFromWhatTheyCorrect(t *testing.T) {
	table := NewTable(Filter{})
	for _, c := range []Counts{
		prints(0, "a", 100, 20), rejects(0, "a", "dust", 3), prints(20, "a", 100, 20), rejects(20, "a", "dust", 2),
		rejects(40, "a", "dust", -4), rejects(40, "b", "dust", -1),
	} {
		table.Add(c)
	}
	var left []float64
	for _, c := range cellsOf(table) {
		left = append(left, c.Defects[0])
	}
	if !slices.Equal(left, []float64{1, 0, 0, 0}) {
		t.Errorf("left %v", left)
	}
}

// An id is used again after a year: a batch of another year is another one, with its own mix.
func TestIdsAreUsedAgain(t *testing.T) {
	table := NewTable(Filter{})
	year := 365 * 24 * 60
	table.Add(prints(0, "0302-1", 100, 20))
	table.Add(prints(year, "0302-1", 100, 20))
	table.addMix(Mix{Batch: "0302-1", Ink: "gloss-4", At: start.Add(3 * time.Hour), ThinnerPct: 10, RatioOffPct: -2})
	table.addMix(Mix{Batch: "0302-1", Ink: "matt-10", At: start.Add(time.Duration(year+60) * time.Minute), ThinnerPct: 14, RatioOffPct: math.NaN()})
	d, _ := table.data(time.UTC)
	a, b := d.Cells[0], d.Cells[1]
	if a.Batch == b.Batch || a.Place != "/press-1/gloss-4" || b.Place != "/press-1/matt-10" {
		t.Errorf("%q in %q, %q in %q", a.Batch, a.Place, b.Batch, b.Place)
	}
	if a.Conditions[quality.Thinner] != 10 || b.Conditions[quality.Thinner] != 14 || a.Conditions[quality.RatioError] != 2 || !math.IsNaN(b.Conditions[quality.RatioError]) {
		t.Errorf("%v, %v", a.Conditions, b.Conditions)
	}
}

func TestFilter(t *testing.T) {
	table := NewTable(Filter{From: start, To: start.Add(time.Hour), Press: "press-1", Kind: "dust"})
	other := prints(10, "a", 1, 20)
	other.Press = "press-2"
	for _, c := range []Counts{
		prints(-1, "a", 1, 20), prints(0, "a", 10, 20), prints(60, "a", 1, 20), other, rejects(5, "a", "dust", 2), rejects(5, "a", "pinholes", 2),
	} {
		table.Add(c)
	}
	d, _ := table.data(time.UTC)
	if len(d.Cells) != 1 || d.Cells[0].Prints.Prints != 10 || !slices.Equal(d.Cells[0].Defects, []float64{2}) {
		t.Errorf("%+v", d)
	}
}

// Whatever is added, no cell has less than no rejects, and none is lost but what corrections take.
func TestTableProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := NewTable(Filter{})
		total, wanted := map[string]float64{}, 0.0
		for range rapid.IntRange(0, 60).Draw(t, "counts") {
			batch := rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "batch")
			minute := rapid.IntRange(0, 300).Draw(t, "minute")
			n := float64(rapid.IntRange(0, 20).Draw(t, "pieces"))
			if rapid.Bool().Draw(t, "prints") {
				wanted += n
				table.Add(prints(minute, batch, n, 20))
				continue
			}
			if rapid.Bool().Draw(t, "correction") { // of what was counted before it
				minute, n = 301, -min(n, total[batch])
			}
			total[batch] += n
			table.Add(rejects(minute, batch, "dust", n))
		}
		printed, defects, left := 0.0, 0.0, 0.0
		for _, n := range total {
			left += n
		}
		for _, c := range cellsOf(table) {
			printed += c.Prints.Prints
			for _, n := range c.Defects {
				if n < 0 {
					t.Fatalf("%v rejects", n)
				}
				defects += n
			}
		}
		if printed != wanted || defects != left {
			t.Fatalf("%v prints and %v rejects, want %v and %v", printed, defects, wanted, left)
		}
	})
}

// Longer spans keep what was counted and the means by prints, and end with the day and the batch.
func TestLongerSpans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := NewTable(Filter{})
		for range rapid.IntRange(0, 60).Draw(t, "counts") {
			c := prints(rapid.IntRange(0, 3000).Draw(t, "minute"), rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "batch"), float64(rapid.IntRange(1, 20).Draw(t, "pieces")), float64(rapid.IntRange(15, 30).Draw(t, "temperature")))
			if rapid.IntRange(0, 3).Draw(t, "rejects") == 0 {
				c.Kind = "dust"
			}
			table.Add(c)
		}
		zone := time.FixedZone("", 5*3600+45*60)
		type sums struct{ prints, defects, warmth float64 }
		type day struct {
			lot
			day string
		}
		rows := table.rows()
		wanted, got := map[day]sums{}, map[day]sums{}
		add := func(to map[day]sums, k day, prints float64, defects []float64, temperature float64) {
			s := to[k]
			s.prints += prints
			for _, n := range defects {
				s.defects += n
			}
			if prints > 0 {
				s.warmth += prints * temperature
			}
			to[k] = s
		}
		for _, r := range rows {
			add(wanted, day{r.lot, r.at.In(zone).Format(time.DateOnly)}, r.prints, r.defects, r.Conditions[quality.Temperature])
		}
		for _, f := range table.fold(rows, 8, zone) {
			mean := f.sums[quality.Temperature] / f.known[quality.Temperature]
			add(got, day{rows[f.first].lot, f.day}, f.prints, f.defects, mean)
		}
		if len(got) != len(wanted) {
			t.Fatalf("%v, want %v", got, wanted)
		}
		for k, w := range wanted {
			if g := got[k]; g.prints != w.prints || g.defects != w.defects || math.Abs(g.warmth-w.warmth) > 1e-6 {
				t.Fatalf("%v: %v, want %v", k, g, w)
			}
		}
	})
}

// Many cells become fewer of longer spans.
func TestSpansGrowWithTheCells(t *testing.T) {
	table := NewTable(Filter{})
	for i := range mostCells + 1 {
		table.Add(prints(15*i, "a", 1, 20))
	}
	if d, span := table.data(time.UTC); span != 30*time.Minute || len(d.Cells) != mostCells/2+1 {
		t.Errorf("%d cells of %v", len(d.Cells), span)
	}
}
