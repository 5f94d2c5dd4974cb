package chart

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ranged is a layer that takes part in the ranges of the axes.
type ranged interface {
	extent() (lowX, highX, lowY, highY float64)
}

// named is a layer with an entry in the legend.
type named interface {
	name() string
	sample(c draw.Canvas, index int)
}

// drawer draws a layer; it is a plot.Plotter.
type drawer struct {
	layer Layer
	x     Axis
	panel Panel
	index int // among the layers of the panel
}

// DataRange is that of the layer; a layer without one does not widen the axes.
func (d drawer) DataRange() (lowX, highX, lowY, highY float64) {
	if r, ok := d.layer.(ranged); ok {
		return r.extent()
	}
	return math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
}

// Plot draws the layer.
func (d drawer) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	at := func(px, py float64) vg.Point { return vg.Point{X: x(px), Y: y(py)} }
	switch l := d.layer.(type) {
	case Line:
		d.line(c, l, at)
	case Band:
		l.plot(c, at)
	case Marks:
		d.marks(c, l, at)
	case Spans:
		d.spans(c, l, at)
	case Rule:
		d.rule(c, l, at)
	}
}

// gridlines draws a faint line at each labelled tick of the vertical axis.
type gridlines struct{}

func (gridlines) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		if t.IsMinor() || t.Value < p.Y.Min || t.Value > p.Y.Max {
			continue
		}
		c.StrokeLine2(draw.LineStyle{Color: grid, Width: 0.5}, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
}

// dashes are the patterns that tell series apart without colour.
var dashes = map[Tone][]vg.Length{
	Series2: {7, 3}, Series3: {2, 3}, Series4: {9, 3, 2, 3}, Limit: {5, 4}, Alarm: {3, 2},
}

func style(t Tone, dashed bool) draw.LineStyle {
	s := draw.LineStyle{Color: t, Width: lineWidth, Dashes: dashes[t]}
	if t == Limit || t == Quiet {
		s.Width = 1
	}
	if dashed {
		s.Dashes = []vg.Length{4, 4}
	}
	return s
}

func (l Line) name() string { return l.Name }

func (l Line) sample(c draw.Canvas, _ int) {
	c.StrokeLine2(style(l.Tone, l.Dashed), c.Min.X, c.Center().Y, c.Max.X, c.Center().Y)
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

// line draws a line, and invisible marks along it by which its values can be read.
func (d drawer) line(c draw.Canvas, l Line, at func(x, y float64) vg.Point) {
	var part []vg.Point
	flush := func() {
		if len(part) > 1 {
			c.StrokeLines(style(l.Tone, l.Dashed), c.ClipLinesXY(part)...)
		} else if len(part) == 1 { // a value between two gaps
			point(c, l.Tone, false, part[0])
		}
		part = nil
	}
	for _, p := range l.Points {
		if math.IsNaN(p.Y) {
			flush()
			continue
		}
		next := at(p.X, p.Y)
		if l.Steps && len(part) > 0 {
			part = append(part, vg.Point{X: next.X, Y: part[len(part)-1].Y})
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
		if math.IsNaN(p.Y) || !c.Contains(at(p.X, p.Y)) {
			continue
		}
		of(c).mark(l.Name + ", " + d.x.format(p.X) + ": " + d.panel.Y.format(p.Y))
		of(c).target(at(p.X, p.Y))
		of(c).endMark()
	}
}

func (b Band) name() string { return b.Name }

func (b Band) sample(c draw.Canvas, _ int) {
	c.SetColor(b.Tone)
	of(c).area(c.Rectangle.Path(), "band")
}

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

func (b Band) plot(c draw.Canvas, at func(x, y float64) vg.Point) {
	var lower, upper []vg.Point
	flush := func() {
		if len(lower) > 1 {
			for i := len(upper) - 1; i >= 0; i-- {
				lower = append(lower, upper[i])
			}
			var path vg.Path
			for i, p := range c.ClipPolygonXY(lower) {
				if i == 0 {
					path.Move(p)
				} else {
					path.Line(p)
				}
			}
			path.Close()
			c.SetColor(b.Tone)
			of(c).area(path, "band")
		}
		lower, upper = nil, nil
	}
	for _, p := range b.Points {
		if math.IsNaN(p.Low) || math.IsNaN(p.High) {
			flush()
			continue
		}
		lower, upper = append(lower, at(p.X, p.Low)), append(upper, at(p.X, p.High))
	}
	flush()
}

func (m Marks) name() string { return m.Name }

func (m Marks) sample(c draw.Canvas, _ int) {
	point(c, m.Tone, false, c.Center())
}

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
func point(c draw.Canvas, t Tone, alarm bool, at vg.Point) {
	const r = 4
	if alarm {
		bold := draw.LineStyle{Color: Alarm, Width: 2.5}
		c.StrokeLine2(bold, at.X-r, at.Y-r, at.X+r, at.Y+r)
		c.StrokeLine2(bold, at.X-r, at.Y+r, at.X+r, at.Y-r)
		return
	}
	var shape draw.GlyphDrawer = draw.CircleGlyph{}
	switch t {
	case Series2:
		shape = draw.BoxGlyph{}
	case Series3:
		shape = draw.PyramidGlyph{}
	case Series4:
		shape = draw.RingGlyph{}
	}
	c.DrawGlyph(draw.GlyphStyle{Color: t, Radius: r, Shape: shape}, at)
}

func (d drawer) marks(c draw.Canvas, m Marks, at func(x, y float64) vg.Point) {
	for _, p := range m.Points {
		place := at(p.X, p.Y)
		if !c.Contains(place) {
			continue
		}
		of(c).mark(d.markText(m.Name, p))
		if p.Low < p.High {
			low, high := at(p.X, p.Low), at(p.X, p.High)
			s := draw.LineStyle{Color: m.Tone, Width: 1}
			c.StrokeLine2(s, low.X, max(low.Y, c.Min.Y), high.X, min(high.Y, c.Max.Y))
			for _, end := range []vg.Point{low, high} {
				if c.Contains(end) {
					c.StrokeLine2(s, end.X-3, end.Y, end.X+3, end.Y)
				}
			}
		}
		point(c, m.Tone, p.Alarm, place)
		of(c).target(place)
		of(c).endMark()
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

func (d drawer) spans(c draw.Canvas, s Spans, at func(x, y float64) vg.Point) {
	label := textStyle()
	label.YAlign = draw.YCenter
	for _, p := range s.Spans {
		row := float64(len(d.panel.Rows) - 1 - p.Row)
		from, to := at(p.From, row-0.36), at(p.To, row+0.36)
		from.X, to.X = max(from.X, c.Min.X), min(to.X, c.Max.X)
		if from.X > to.X {
			continue
		}
		of(c).mark(d.panel.Rows[p.Row] + ", " + p.Text + ": " + d.x.format(p.From) + " – " + d.x.format(p.To))
		box := vg.Rectangle{Min: from, Max: to}
		c.SetColor(p.Tone)
		of(c).area(box.Path(), "span")
		c.SetLineStyle(draw.LineStyle{Color: p.Tone, Width: 1})
		c.Stroke(box.Path())
		if label.Width(p.Text)+8 < to.X-from.X {
			c.FillText(label, vg.Point{X: from.X + 4, Y: (from.Y + to.Y) / 2}, p.Text)
		}
		of(c).endMark()
	}
}

func (r Rule) name() string { return r.Name }

func (r Rule) sample(c draw.Canvas, _ int) {
	c.StrokeLine2(style(r.Tone, false), c.Min.X, c.Center().Y, c.Max.X, c.Center().Y)
}

const besideRule = 4 // between a vertical rule and its text

// besideX returns where the text of a vertical rule begins and ends: on its right, or on its left where
// there is no room.
func (r Rule) besideX(c draw.Canvas, at func(x, y float64) vg.Point) (begin, end vg.Length) {
	x, width := at(r.At, 0).X, wider*textStyle().Width(r.Text)
	if x+width+besideRule > c.Max.X {
		return x - besideRule - width, x - besideRule
	}
	return x + besideRule, x + besideRule + width
}

// line returns in which line below the top the text of the vertical rule with an index stands: the
// first in which it is clear of the rules before it.
func (p Panel) line(index int, c draw.Canvas, at func(x, y float64) vg.Point) (line int) {
	type taken struct {
		line       int
		begin, end vg.Length
	}
	var texts []taken
	for _, layer := range p.Layers[:index+1] {
		r, ok := layer.(Rule)
		if !ok || !r.Vertical || r.Text == "" || !c.ContainsX(at(r.At, 0).X) {
			continue
		}
		begin, end := r.besideX(c, at)
		for line = 0; slices.ContainsFunc(texts, func(t taken) bool {
			return t.line == line && begin < t.end+besideRule && t.begin < end+besideRule
		}); line++ {
		}
		texts = append(texts, taken{line, begin, end})
	}
	return line
}

func (d drawer) rule(c draw.Canvas, r Rule, at func(x, y float64) vg.Point) {
	label := textStyle()
	if r.Vertical {
		x := at(r.At, 0).X
		if !c.ContainsX(x) {
			return
		}
		c.StrokeLine2(style(r.Tone, false), x, c.Min.Y, x, c.Max.Y)
		label.YAlign = draw.YTop
		begin, _ := r.besideX(c, at)
		lower := vg.Length(d.panel.line(d.index, c, at)) * label.Height(r.Text) * 1.2
		c.FillText(label, vg.Point{X: begin, Y: c.Max.Y - lower}, r.Text)
		return
	}
	y := at(0, r.At).Y
	if !c.ContainsY(y) {
		return
	}
	c.StrokeLine2(style(r.Tone, false), c.Min.X, y, c.Max.X, y)
	label.XAlign = draw.XRight
	c.FillText(label, vg.Point{X: c.Max.X - 2, Y: y + 2}, r.Text)
}
