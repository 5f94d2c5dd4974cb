package chart

import "math"

// axes are the two axes of a panel.
type axes struct {
	in             box // the data's area
	lowX, highX    float64
	lowY, highY    float64
	xTicks, yTicks []tick
	label          string // of the vertical axis
}

// axes returns the vertical axis of a panel of the given height.
func (p Panel) axes(height float64) axes {
	a := axes{lowY: math.Inf(1), highY: math.Inf(-1)}
	// A label that is longer than its axis would run into that of the next panel.
	if wider*textWidth(p.Y.Label) < height {
		a.label = p.Y.Label
	}
	if len(p.Rows) > 0 {
		a.lowY, a.highY = -0.5, float64(len(p.Rows))-0.5
		for i, name := range p.Rows {
			a.yTicks = append(a.yTicks, tick{value: float64(len(p.Rows) - 1 - i), label: name})
		}
		return a
	}
	a.lowY, a.highY = p.rangeY()
	a.yTicks = p.Y.ticks(a.lowY, a.highY, upright)
	return a
}

// rangeY returns the range of the vertical axis: the one it was given, or that of the data with some
// air above and below, but not below zero when nothing is.
func (p Panel) rangeY() (low, high float64) {
	if p.Y.Min < p.Y.Max {
		return p.Y.Min, p.Y.Max
	}
	low, high = math.Inf(1), math.Inf(-1)
	for _, l := range p.Layers {
		if r, ok := l.(ranged); ok {
			_, _, y0, y1 := r.extent()
			low, high = math.Min(low, y0), math.Max(high, y1)
		}
	}
	if low > high { // nothing in this panel
		return 0, 1
	}
	air := (high - low) * 0.06
	if air == 0 {
		air = 1
	}
	if low < 0 || low-air >= 0 {
		low -= air
	} else {
		low = 0
	}
	return low, high + air
}

// ticks returns the ticks of an axis on a picture of a width in CSS pixels.
func (a Axis) ticks(low, high float64, width int) []tick {
	if a.Time != nil {
		return timeTicks(a.Time, width)(low, high)
	}
	return figureTicks(low, high)
}

// spaceOfLabels is between the labels of the vertical axis and its ticks.
const spaceOfLabels = 3

// width returns how much room the vertical axis takes.
func (a axes) width() float64 {
	w := tickLength + 0.5
	widest := 0.0
	for _, t := range a.yTicks {
		widest = max(widest, textWidth(t.label))
	}
	if widest > 0 {
		w += wider*widest + spaceOfLabels // a browser's font may be wider
	}
	if a.label != "" {
		w += lineHeight
	}
	return w
}

// at returns where a value is.
func (a axes) at(x, y float64) vec {
	return vec{
		a.in.min.x + (x-a.lowX)/(a.highX-a.lowX)*a.in.width(),
		a.in.min.y + (y-a.lowY)/(a.highY-a.lowY)*a.in.height(),
	}
}

// draw draws the axes' lines, their ticks, faint lines across, and the labels of the vertical axis,
// which begins at the left edge of an area.
func (a axes) draw(c *canvas, area box) {
	edge, faint := stroke{tone: grid, width: 1}, stroke{tone: grid, width: 0.5}
	c.line(edge, vec{a.in.min.x, a.in.max.y}, a.in.min, vec{a.in.max.x, a.in.min.y})
	for _, t := range a.xTicks {
		if x := a.at(t.value, 0).x; a.in.hasX(x) {
			c.line(edge, vec{x, a.in.min.y}, vec{x, a.in.min.y - tickLength})
		}
	}
	for _, t := range a.yTicks {
		y := a.at(0, t.value).y
		if !a.in.hasY(y) {
			continue
		}
		c.line(faint, vec{a.in.min.x, y}, vec{a.in.max.x, y})
		c.line(edge, vec{a.in.min.x - tickLength, y}, vec{a.in.min.x, y})
		c.text(vec{a.in.min.x - tickLength - spaceOfLabels, y - halfCapital}, end, t.label)
	}
	if a.label != "" {
		c.upright(vec{area.min.x + labelSize - 1, a.in.centre().y}, a.label)
	}
}

// drawLabels draws the labels of the horizontal axis below the area of the data.
func (a axes) drawLabels(c *canvas, name string) {
	y := a.in.min.y - tickLength - labelSize
	for _, t := range a.xTicks {
		if x := a.at(t.value, 0).x; a.in.hasX(x) {
			c.text(vec{x, y}, middle, t.label)
		}
	}
	c.text(vec{a.in.centre().x, y - lineHeight}, middle, name)
}
