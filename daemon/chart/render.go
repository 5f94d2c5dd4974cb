package chart

import (
	"fmt"
	"io"
	"math"
)

const (
	labelSize   = 12 // of all text, in CSS pixels
	lineHeight  = 16 // from one line of text to the next
	halfCapital = 4  // from the base line of a text to its middle
	gap         = 10 // between panels
	lineWidth   = 1.75
	tickLength  = 4
	wider       = 1.2 // how much wider than the measured font that of a browser may be
)

// Render writes the figure as an svg element, to stand in an HTML document or alone. Its error
// says what cannot be drawn, or comes from the writer.
func (f Figure) Render(w io.Writer) error {
	if err := f.check(); err != nil {
		return err
	}
	c := &canvas{}
	fmt.Fprintf(&c.body, `<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="group" aria-labelledby="%s-title %s-about"><title id="%s-title">`,
		f.Width, f.Height, f.ID, f.ID, f.ID)
	c.escaped(f.Title)
	fmt.Fprintf(&c.body, `</title><desc id="%s-about">`, f.ID)
	c.escaped(f.About)
	fmt.Fprintf(&c.body, `</desc><g transform="translate(0,%d) scale(1,-1)">`+"\n", f.Height)

	area := box{max: vec{float64(f.Width), float64(f.Height)}}
	if lowX, highX, found := f.rangeX(); found {
		area.max.y -= f.legend(c, area)
		f.panels(c, area, lowX, highX)
	} else {
		at := area.centre()
		c.text(vec{at.x, at.y - halfCapital}, middle, f.Empty)
	}
	c.body.WriteString("</g></svg>\n")
	_, err := c.body.WriteTo(w)
	return err
}

// rangeX returns the ends of the common horizontal axis; found is false when nothing is to be
// drawn.
func (f Figure) rangeX() (low, high float64, found bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range f.Panels {
		for _, l := range p.Layers {
			if r, ok := l.(ranged); ok {
				x0, x1, _, _ := r.extent()
				low, high = math.Min(low, x0), math.Max(high, x1)
			}
		}
	}
	if low > high {
		return 0, 0, false
	}
	if f.X.Min < f.X.Max {
		low, high = f.X.Min, f.X.Max
	}
	if low == high {
		low, high = low-1, high+1
	}
	return low, high, true
}

// panels draws the panels one above the other, so that their data has the same left and right edge.
func (f Figure) panels(c *canvas, area box, lowX, highX float64) {
	shares := 0.0
	for _, p := range f.Panels {
		shares += p.share()
	}
	last := len(f.Panels) - 1
	xTicks := f.X.ticks(lowX, highX, f.Width)
	// Only the lowest panel has the axis' labels, so it needs more room.
	below := 2.0 * lineHeight
	if f.X.Label == "" {
		below = lineHeight
	}
	free := area.height() - below - float64(gap*last)
	top, left, right := area.max.y, 0.0, 20.0 // half of the last label
	drawn := make([]axes, len(f.Panels))
	for i, p := range f.Panels {
		high := free * p.share() / shares
		drawn[i] = p.axes(high)
		drawn[i].in.max.y, drawn[i].in.min.y = top-labelSize/2, top-high+tickLength
		left = max(left, drawn[i].width())
		top -= high + gap
	}
	for _, t := range xTicks {
		beyond := wider * textWidth(t.label) / 2
		at := (t.value - lowX) / (highX - lowX) * area.width()
		left, right = max(left, beyond-at), max(right, at+beyond-area.width())
	}
	for i, p := range f.Panels {
		a := drawn[i]
		a.lowX, a.highX, a.xTicks = lowX, highX, xTicks
		a.in.min.x, a.in.max.x = area.min.x+left, area.max.x-right
		a.draw(c, area)
		if i == last {
			a.drawLabels(c, f.X.Label)
		}
		d := drawer{canvas: c, x: f.X, panel: p, in: a.in, at: a.at}
		for i := range p.Layers {
			d.draw(i)
		}
	}
}

func (p Panel) share() float64 {
	if p.Share <= 0 {
		return 1
	}
	return p.Share
}

// legend draws the names of the series at the top of an area, each once, and returns its height.
func (f Figure) legend(c *canvas, area box) float64 {
	const sample, space, row = 26, 16, labelSize + 8
	x, y := area.min.x, area.max.y-row/2
	rows := 0
	seen := map[string]bool{}
	for _, p := range f.Panels {
		for _, l := range p.Layers {
			n, ok := l.(named)
			if !ok || n.name() == "" || seen[n.name()] {
				continue
			}
			seen[n.name()] = true
			need := sample + 6 + wider*textWidth(n.name())
			if rows == 0 {
				rows = 1
			} else if x+need > area.max.x {
				rows++
				x, y = area.min.x, y-row
			}
			n.sample(c, box{vec{x, y - 5}, vec{x + sample, y + 5}})
			c.text(vec{x + sample + 6, y - halfCapital}, start, n.name())
			x += need + space
		}
	}
	return float64(rows * row)
}
