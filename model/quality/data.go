package quality

import (
	"cmp"
	"math"
	"slices"
)

// Cell holds prints that were made under the same conditions.
type Cell struct {
	// Place names what is compared only with itself: the bench, the press and the ink.
	Place string
	Batch string // unique among all benches and years; empty when no batch was known
	Day   string // of the shop, unique among benches, sorting by time
	Prints
	Conditions
}

// Prints are prints and their defects.
type Prints struct {
	Prints  float64
	Defects []float64 // by kind, in the order of [Data.Kinds]
}

// Data is what a study reads.
type Data struct {
	Kinds []string
	Cells []Cell
}

// count returns a cell's defects of a kind, or of all kinds together with AllKinds.
func (c *Cell) count(kind int) float64 {
	if kind != allKinds {
		return c.Defects[kind]
	}
	sum := 0.0
	for _, d := range c.Defects {
		sum += d
	}
	return sum
}

// allKinds is what slices.Index returns for the name of all kinds together, which no kind has.
const allKinds = -1

// Clustering says what was counted as a cluster.
type Clustering string

// The ways to cluster.
const (
	// ByDay: prints of one day depend on one another. A batch belongs to the day on which it
	// was first printed, so batches are inside days and days allow for both.
	ByDay Clustering = "day"
	// ByBatch: with few days, prints of one batch. What a whole day has in common is not
	// allowed for.
	ByBatch Clustering = "batch"
	// NotClustered: too few batches too; errors are those of quasi-likelihood.
	NotClustered Clustering = "none"
)

// EnoughClusters is from how many days or batches on they serve as clusters.
const EnoughClusters = 8

// prepared is the data with numbers for names.
type prepared struct {
	Data
	stratum, cluster []int
	clustering       Clustering
	days, batches    int
	sorted           [factorCount][]weighed
	scratch          scratch
	pause            func() // may be nil
}

// scratch is memory that one fit after the other uses: garbage would cost those who share the processor
// more than the fits.
type scratch struct {
	x, count, exposure     []float64
	stratum, cluster, rows []int
	standard, mean, weight []float64
}

// weighed is a value of a factor, at or below which the given number of prints was made.
type weighed struct{ x, prints float64 }

func prepare(d Data) *prepared {
	p := &prepared{Data: d}
	began := map[string]string{} // the day of each batch
	for i := range d.Cells {
		c := &d.Cells[i]
		if day, ok := began[c.Batch]; c.Batch != "" && (!ok || c.Day < day) {
			began[c.Batch] = c.Day
		}
	}
	var places, days, batches numbers
	var byDay, byBatch []int
	for i := range d.Cells {
		c := &d.Cells[i]
		day, batch := c.Day, "batch "+c.Batch
		if c.Batch != "" {
			day = began[c.Batch]
		} else {
			batch = "none " + c.Day + " " + c.Place
		}
		p.stratum = append(p.stratum, places.of(c.Place))
		byDay = append(byDay, days.of(day))
		byBatch = append(byBatch, batches.of(batch))
	}
	p.days, p.batches = len(days), len(began)
	switch {
	case len(days) >= EnoughClusters:
		p.clustering, p.cluster = ByDay, byDay
	case len(batches) >= EnoughClusters:
		p.clustering, p.cluster = ByBatch, byBatch
	default:
		p.clustering = NotClustered
	}
	for f := range p.sorted {
		p.sorted[f] = sorted(d.Cells, Factor(f))
	}
	return p
}

// sorted returns the known values of a factor in order, with the prints up to each.
func sorted(cells []Cell, f Factor) []weighed {
	var all []weighed
	for i := range cells {
		c := &cells[i]
		if x := c.Conditions[f]; !math.IsNaN(x) && c.Prints.Prints > 0 {
			all = append(all, weighed{x, c.Prints.Prints})
		}
	}
	slices.SortFunc(all, func(a, b weighed) int { return cmp.Compare(a.x, b.x) })
	for i := 1; i < len(all); i++ {
		all[i].prints += all[i-1].prints
	}
	return all
}

// numbers gives each name a number, from 0.
type numbers map[string]int

func (n *numbers) of(name string) int {
	if *n == nil {
		*n = numbers{}
	}
	i, ok := (*n)[name]
	if !ok {
		i = len(*n)
		(*n)[name] = i
	}
	return i
}

// quantiles returns values of a factor at or below which the given shares of the prints were
// made. Without a known value they are NaN.
func (p *prepared) quantiles(f Factor, shares ...float64) []float64 {
	all := p.sorted[f]
	values := slices.Repeat([]float64{math.NaN()}, len(shares))
	if len(all) == 0 {
		return values
	}
	total := all[len(all)-1].prints
	for k, share := range shares {
		i, _ := slices.BinarySearchFunc(all, share*total, func(w weighed, below float64) int { return cmp.Compare(w.prints, below) })
		values[k] = all[min(i, len(all)-1)].x
	}
	return values
}

// model returns the regression of a kind on columns of values, in cells where all are known. It and its fit
// are valid until the next one is made.
func (p *prepared) model(family Family, kind int, names []string, value func(c *Cell, into []float64) []float64) Model {
	b := &p.scratch
	m := Model{
		Family: family, Columns: names, X: b.x[:0], Count: b.count[:0], Exposure: b.exposure[:0], Stratum: b.stratum[:0], scratch: b, pause: p.pause,
	}
	if p.cluster != nil {
		m.Cluster = b.cluster[:0]
		if m.Cluster == nil {
			m.Cluster = []int{}
		}
	}
	row := make([]float64, 0, len(names))
	for i := range p.Cells {
		c := &p.Cells[i]
		row = value(c, row[:0])
		if c.Prints.Prints <= 0 || slices.ContainsFunc(row, math.IsNaN) {
			continue
		}
		m.X = append(m.X, row...)
		m.Count = append(m.Count, c.count(kind))
		m.Exposure = append(m.Exposure, c.Prints.Prints)
		m.Stratum = append(m.Stratum, p.stratum[i])
		if p.cluster != nil {
			m.Cluster = append(m.Cluster, p.cluster[i])
		}
	}
	b.x, b.count, b.exposure, b.stratum = m.X, m.Count, m.Exposure, m.Stratum
	if p.cluster != nil {
		b.cluster = m.Cluster
	}
	return m
}
