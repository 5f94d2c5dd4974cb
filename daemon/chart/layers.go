package chart

import (
	"math"
	"slices"
	"strings"
)

// ranged is a layer that takes part in the ranges of the axes.
type ranged interface {
	extent() (lowX, highX, lowY, highY float64)
}

// named is a layer with an entry in the legend.
type named interface {
	name() string
	sample(c *canvas, in box)
}

// drawer draws the layers of a panel.
type drawer struct {
	*canvas
	x     Axis
	panel Panel
	in    box                    // the data's area
	at    func(x, y float64) vec // where a value is
}

// draw draws a layer.
func (d drawer) draw(index int) {
	switch l := d.panel.Layers[index].(type) {
	case Line:
		d.curve(l)
	case Band:
		d.band(l)
	case Marks:
		d.points(l)
	case Spans:
		d.spans(l)
	case Rule:
		d.rule(l, index)
	}
}

// dashes are the patterns that tell series apart without colour.
var dashes = map[Tone][]float64{
	Series2: {7, 3}, Series3: {2, 3}, Series4: {9, 3, 2, 3}, Limit: {5, 4}, Alarm: {3, 2},
}

func style(t Tone, dashed bool) stroke {
	s := stroke{tone: t, width: lineWidth, dashes: dashes[t]}
	if t == Limit || t == Quiet {
		s.width = 1
	}
	if dashed {
		s.dashes = []float64{4, 4}
	}
	return s
}

func (l Line) name() string { return l.Name }

func (l Line) sample(c *canvas, in box) {
	y := in.centre().y
	c.line(style(l.Tone, l.Dashed), vec{in.min.x, y}, vec{in.max.x, y})
}

func (l Line) extent() (lowX, highX, lowY, highY float64) {
	lowX, highX, lowY, highY = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range l.Points {
		if math.IsNaN(p.Y) {
			continue
		}
		lowX, highX = math.Min(lowX, p.X), math.Max(highX, p.X)
		lowY, highY = math.Min(lowY, p.Y), math.Max(highY, p.Y)
	}
	return lowX, highX, lowY, highY
}

// curve draws a line, and invisible marks along it by which its values can be read.
func (d drawer) curve(l Line) {
	var part []vec
	flush := func() {
		if len(part) > 1 {
			for _, piece := range d.in.clipLine(part) {
				d.line(style(l.Tone, l.Dashed), piece...)
			}
		} else if len(part) == 1 { // a value between two gaps
			d.point(l.Tone, false, part[0])
		}
		part = nil
	}
	for _, p := range l.Points {
		if math.IsNaN(p.Y) {
			flush()
			continue
		}
		next := d.at(p.X, p.Y)
		if l.Steps && len(part) > 0 {
			part = append(part, vec{next.x, part[len(part)-1].y})
		}
		part = append(part, next)
	}
	flush()
	if l.Name == "" {
		return
	}
	const readable = 48 // values along one line
	every := max(1, (len(l.Points)+readable-1)/readable)
	for i := 0; i < len(l.Points); i += every {
		p := l.Points[i]
		if math.IsNaN(p.Y) || !d.in.has(d.at(p.X, p.Y)) {
			continue
		}
		d.mark(l.Name + ", " + d.x.format(p.X) + ": " + d.panel.Y.format(p.Y))
		d.target(d.at(p.X, p.Y))
		d.endMark()
	}
}

func (b Band) name() string { return b.Name }

func (b Band) sample(c *canvas, in box) { c.area(b.Tone, "band", in.corners()) }

func (b Band) extent() (lowX, highX, lowY, highY float64) {
	lowX, highX, lowY, highY = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range b.Points {
		if math.IsNaN(p.Low) || math.IsNaN(p.High) {
			continue
		}
		lowX, highX = math.Min(lowX, p.X), math.Max(highX, p.X)
		lowY, highY = math.Min(lowY, p.Low), math.Max(highY, p.High)
	}
	return lowX, highX, lowY, highY
}

// band draws the parts of a band between its gaps.
func (d drawer) band(b Band) {
	var lower, upper []vec
	flush := func() {
		if len(lower) > 1 {
			slices.Reverse(upper)
			d.area(b.Tone, "band", d.in.clipArea(append(lower, upper...)))
		}
		lower, upper = nil, nil
	}
	for _, p := range b.Points {
		if math.IsNaN(p.Low) || math.IsNaN(p.High) {
			flush()
			continue
		}
		lower, upper = append(lower, d.at(p.X, p.Low)), append(upper, d.at(p.X, p.High))
	}
	flush()
}

func (m Marks) name() string { return m.Name }

func (m Marks) sample(c *canvas, in box) { c.point(m.Tone, false, in.centre()) }

func (m Marks) extent() (lowX, highX, lowY, highY float64) {
	lowX, highX, lowY, highY = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range m.Points {
		lowX, highX = math.Min(lowX, p.X), math.Max(highX, p.X)
		lowY, highY = math.Min(lowY, p.Y), math.Max(highY, p.Y)
		if p.Low < p.High {
			lowY, highY = math.Min(lowY, p.Low), math.Max(highY, p.High)
		}
	}
	return lowX, highX, lowY, highY
}

// point draws the shape of a series' point, which is filled; one out of a limit is a cross.
func (c *canvas) point(t Tone, alarm bool, at vec) {
	const r, half, top, side = 4, 3.4, 5, 4.33 // of a circle, half a square, and a triangle of about its area
	switch {
	case alarm:
		bold := stroke{tone: Alarm, width: 2.5}
		c.line(bold, vec{at.x - r, at.y - r}, vec{at.x + r, at.y + r})
		c.line(bold, vec{at.x - r, at.y + r}, vec{at.x + r, at.y - r})
	case t == Series2:
		c.area(t, "area", box{vec{at.x - half, at.y - half}, vec{at.x + half, at.y + half}}.corners())
	case t == Series3:
		c.area(t, "area", []vec{{at.x, at.y + top}, {at.x - side, at.y - top/2.0}, {at.x + side, at.y - top/2.0}})
	default:
		c.circle(t, at, r, t != Series4)
	}
}

// points draws marks with their intervals.
func (d drawer) points(m Marks) {
	for _, p := range m.Points {
		place := d.at(p.X, p.Y)
		if !d.in.has(place) {
			continue
		}
		d.mark(d.markText(m.Name, p))
		if p.Low < p.High {
			low, high := d.at(p.X, p.Low), d.at(p.X, p.High)
			s := stroke{tone: m.Tone, width: 1}
			d.line(s, vec{low.x, max(low.y, d.in.min.y)}, vec{high.x, min(high.y, d.in.max.y)})
			for _, at := range []vec{low, high} {
				if d.in.has(at) {
					d.line(s, vec{at.x - 3, at.y}, vec{at.x + 3, at.y})
				}
			}
		}
		d.point(m.Tone, p.Alarm, place)
		d.target(place)
		d.endMark()
	}
}

func (d drawer) markText(series string, p Mark) string {
	var parts []string
	for _, s := range []string{p.Text, series} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	value := d.x.format(p.X) + ": " + d.panel.Y.format(p.Y)
	if p.Low < p.High {
		value += " (" + d.panel.Y.format(p.Low) + " – " + d.panel.Y.format(p.High) + ")"
	}
	return strings.Join(append(parts, value), ", ")
}

func (s Spans) extent() (lowX, highX, lowY, highY float64) {
	lowX, highX = math.Inf(1), math.Inf(-1)
	for _, p := range s.Spans {
		lowX, highX = math.Min(lowX, p.From), math.Max(highX, p.To)
	}
	return lowX, highX, math.Inf(1), math.Inf(-1)
}

// spans draws the spans in their rows, with their texts where they fit.
func (d drawer) spans(s Spans) {
	for _, p := range s.Spans {
		row := float64(len(d.panel.Rows) - 1 - p.Row)
		from, to := d.at(p.From, row-0.36), d.at(p.To, row+0.36)
		from.x, to.x = max(from.x, d.in.min.x), min(to.x, d.in.max.x)
		if from.x > to.x {
			continue
		}
		d.mark(d.panel.Rows[p.Row] + ", " + p.Text + ": " + d.x.format(p.From) + " – " + d.x.format(p.To))
		corners := box{from, to}.corners()
		d.area(p.Tone, "span", corners)
		d.outline(stroke{tone: p.Tone, width: 1}, corners)
		if textWidth(p.Text)+8 < to.x-from.x {
			d.text(vec{from.x + 4, (from.y+to.y)/2 - halfCapital}, start, p.Text)
		}
		d.endMark()
	}
}

func (r Rule) name() string { return r.Name }

func (r Rule) sample(c *canvas, in box) {
	y := in.centre().y
	c.line(style(r.Tone, false), vec{in.min.x, y}, vec{in.max.x, y})
}

const besideRule = 4 // between a vertical rule and its text

// besideX returns where the text of a vertical rule begins and ends: on its right, or on its left where
// there is no room.
func (d drawer) besideX(r Rule) (begin, end float64) {
	x, width := d.at(r.At, 0).x, wider*textWidth(r.Text)
	if x+width+besideRule > d.in.max.x {
		return x - besideRule - width, x - besideRule
	}
	return x + besideRule, x + besideRule + width
}

// lineOf returns in which line below the top the text of the vertical rule with an index stands: the
// first in which it is clear of the rules before it.
func (d drawer) lineOf(index int) (line int) {
	type taken struct {
		line       int
		begin, end float64
	}
	var texts []taken
	for _, layer := range d.panel.Layers[:index+1] {
		r, ok := layer.(Rule)
		if !ok || !r.Vertical || r.Text == "" || !d.in.hasX(d.at(r.At, 0).x) {
			continue
		}
		begin, end := d.besideX(r)
		for line = 0; slices.ContainsFunc(texts, func(t taken) bool {
			return t.line == line && begin < t.end+besideRule && t.begin < end+besideRule
		}); line++ {
		}
		texts = append(texts, taken{line, begin, end})
	}
	return line
}

// rule draws a line across the panel, with its text.
func (d drawer) rule(r Rule, index int) {
	if r.Vertical {
		x := d.at(r.At, 0).x
		if !d.in.hasX(x) {
			return
		}
		d.line(style(r.Tone, false), vec{x, d.in.min.y}, vec{x, d.in.max.y})
		begin, _ := d.besideX(r)
		d.text(vec{begin, d.in.max.y - labelSize - float64(d.lineOf(index))*lineHeight}, start, r.Text)
		return
	}
	y := d.at(0, r.At).y
	if !d.in.hasY(y) {
		return
	}
	d.line(style(r.Tone, false), vec{d.in.min.x, y}, vec{d.in.max.x, y})
	d.text(vec{d.in.max.x - 2, y + 3}, end, r.Text)
}
