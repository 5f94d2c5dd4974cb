package quality

import (
	"math"
)

// Curve is the rate of a kind of defect over a factor.
type Curve struct {
	Kind   string // empty for all kinds together
	Factor Factor
	Bins   []Bin
	// DesignEffect is by what the variance of a bin's rate is larger than that of a Poisson
	// count, because prints of a cluster depend on one another; at least 1. The bins'
	// intervals are exact ones for the effective counts, which are smaller by it: Korn and
	// Graubard, Survey Methodology 24 (1998) 193.
	DesignEffect float64
	// Line is the fitted rate, with an interval at each point; empty without an effect.
	Line []LinePoint
}

// Bin holds the prints with a factor from Low up to High, High not included.
type Bin struct {
	Low, High       float64
	Mean            float64 // of the factor, by prints
	Prints, Defects float64
	Rate            float64
	Interval        Interval
	Clusters        int
}

// LinePoint is a point of a fitted line.
type LinePoint struct {
	X, Rate  float64
	Interval Interval
}

const (
	mostBins = 10
	// fewestShare is the share of all prints that a bin must have; thinner ones are joined to a
	// neighbour.
	fewestShare = 0.02
	linePoints  = 25
)

// curve returns the curve of a kind over a factor, with the line of an effect.
func (p *prepared) curve(kind int, f Factor, e *Effect) Curve {
	c := Curve{Kind: e.Kind, Factor: f, DesignEffect: 1}
	ends := p.quantiles(f, 0.005, 0.995)
	if math.IsNaN(ends[0]) {
		return c
	}
	start, width := grid(ends[0], ends[1])
	bins := make([]clustered, int(math.Floor((ends[1]-start)/width))+1)
	means := make([]float64, len(bins))
	for i := range p.Cells {
		cell := &p.Cells[i]
		x := cell.Conditions[f]
		if math.IsNaN(x) || cell.Prints.Prints <= 0 {
			continue
		}
		b := max(0, min(len(bins)-1, int(math.Floor((x-start)/width))))
		bins[b].add(p.clusterOf(i), cell.count(kind), cell.Prints.Prints)
		means[b] += x * cell.Prints.Prints
	}
	for b := range bins {
		low := start + float64(b)*width
		c.Bins = append(c.Bins, Bin{Low: low, High: low + width, Mean: means[b]})
	}
	bins = c.join(bins)
	weighted, defects := 0.0, 0.0
	for b := range bins {
		weighted += bins[b].design() * bins[b].count
		defects += bins[b].count
	}
	if defects > 0 {
		c.DesignEffect = max(1, weighted/defects)
	}
	for b := range bins {
		bin, n := &c.Bins[b], bins[b]
		bin.Mean /= n.exposure
		bin.Prints, bin.Defects, bin.Rate, bin.Clusters = n.exposure, n.count, n.count/n.exposure, len(n.parts)
		bin.Interval = n.interval(c.DesignEffect)
	}
	c.Line = p.line(kind, f, e, ends)
	return c
}

// join joins bins with too few prints to the smaller neighbour.
func (c *Curve) join(bins []clustered) []clustered {
	total := 0.0
	for _, b := range bins {
		total += b.exposure
	}
	for len(bins) > 1 {
		least := 0
		for b := range bins {
			if bins[b].exposure < bins[least].exposure {
				least = b
			}
		}
		if bins[least].exposure >= fewestShare*total {
			break
		}
		left := least - 1
		if least == 0 || (least+1 < len(bins) && bins[least+1].exposure < bins[least-1].exposure) {
			left = least
		}
		bins[left].join(bins[left+1])
		c.Bins[left].High = c.Bins[left+1].High
		c.Bins[left].Mean += c.Bins[left+1].Mean
		bins = append(bins[:left+1], bins[left+2:]...)
		c.Bins = append(c.Bins[:left+1], c.Bins[left+2:]...)
	}
	return bins
}

// grid returns where bins begin and their width: 1, 2 or 5 times a power of ten.
func grid(low, high float64) (start, width float64) {
	spread := high - low
	if spread <= 0 {
		spread = max(1e-6, math.Abs(low)*1e-6)
	}
	width = math.Pow(10, math.Floor(math.Log10(spread/mostBins)))
	for _, factor := range []float64{1, 2, 5, 10} {
		w := factor * width
		start = math.Floor(low/w) * w
		if (high-start)/w < mostBins {
			return start, w
		}
	}
	return math.Floor(low/(20*width)) * 20 * width, 20 * width
}

// line returns the fitted rate over a factor. At each point it is the rate that all prints would
// have had there, everything else as it was. Its interval counts the uncertainty of the slope
// and that of the number of defects.
func (p *prepared) line(kind int, f Factor, e *Effect, ends []float64) []LinePoint {
	if e.Reason != "" {
		return nil
	}
	var count, exposure, centre, relative float64
	for i := range p.Cells {
		c := &p.Cells[i]
		if x := c.Conditions[f]; !math.IsNaN(x) && c.Prints.Prints > 0 {
			count += c.count(kind)
			exposure += c.Prints.Prints
			centre += x * c.count(kind)
			relative += c.Prints.Prints * math.Exp(e.perUnit*(x-ends[0]))
		}
	}
	centre /= count
	var line []LinePoint
	z := normalQuantile((1 + Level) / 2)
	for k := range linePoints {
		x := ends[0] + (ends[1]-ends[0])*float64(k)/(linePoints-1)
		rate := count / relative * math.Exp(e.perUnit*(x-ends[0]))
		half := z * math.Sqrt(math.Pow(e.se*(x-centre), 2)+max(1, e.DesignEffect)/count)
		line = append(line, LinePoint{x, rate, Interval{rate * math.Exp(-half), rate * math.Exp(half)}})
	}
	return line
}

// clustered adds up counts and prints, by cluster.
type clustered struct {
	count, exposure float64
	parts           map[int][2]float64
}

func (c *clustered) add(cluster int, count, exposure float64) {
	if c.parts == nil {
		c.parts = map[int][2]float64{}
	}
	part := c.parts[cluster]
	c.parts[cluster] = [2]float64{part[0] + count, part[1] + exposure}
	c.count += count
	c.exposure += exposure
}

func (c *clustered) join(other clustered) {
	for cluster, part := range other.parts {
		c.add(cluster, part[0], part[1])
	}
}

// design returns by what the variance of the rate between clusters is larger than that of a
// Poisson count: Cochran, Sampling Techniques, 3rd ed. 1977, section 6.3, for the variance of a
// ratio. It is 1 when it cannot be told.
func (c *clustered) design() float64 {
	g := float64(len(c.parts))
	if c.count == 0 || g < 2 {
		return 1
	}
	rate, spread := c.count/c.exposure, 0.0
	for _, part := range c.parts {
		d := part[0] - rate*part[1]
		spread += d * d
	}
	return g / (g - 1) * spread / c.count
}

func (c *clustered) interval(design float64) Interval {
	design = max(1, design)
	return rateInterval(c.count/design, c.exposure/design, Level)
}

// clusterOf returns a cell's cluster; each cell is one of its own when there are none.
func (p *prepared) clusterOf(cell int) int {
	if p.cluster == nil {
		return cell
	}
	return p.cluster[cell]
}
