package chart

import (
	"fmt"
	"io"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

const (
	labelSize = 12 // of all text, in CSS pixels
	gap       = 10 // between panels
	lineWidth = 1.75
	wider     = 1.2 // how much wider than the measured font that of a browser may be
)

// Render writes the figure as an svg element, to stand in an HTML document or alone. Its error
// says what cannot be drawn, or comes from the writer.
func (f Figure) Render(w io.Writer) error {
	if err := f.check(); err != nil {
		return err
	}
	c := newCanvas()
	width, height := vg.Length(f.Width), vg.Length(f.Height)
	fmt.Fprintf(&c.body, `<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="group" aria-labelledby="%s-title %s-about"><title id="%s-title">`,
		f.Width, f.Height, f.ID, f.ID, f.ID)
	c.text(f.Title)
	fmt.Fprintf(&c.body, `</title><desc id="%s-about">`, f.ID)
	c.text(f.About)
	fmt.Fprintf(&c.body, `</desc><g transform="translate(0,%d) scale(1,-1)">`+"\n", f.Height)

	area := draw.Canvas{Canvas: c, Rectangle: vg.Rectangle{Max: vg.Point{X: width, Y: height}}}
	if lowX, highX, found := f.rangeX(); found {
		area.Max.Y -= f.legend(area)
		f.panels(area, lowX, highX)
	} else {
		style := textStyle()
		style.XAlign, style.YAlign = draw.XCenter, draw.YCenter
		area.FillText(style, area.Center(), f.Empty)
	}
	c.body.WriteString("</g></svg>\n")
	_, err := c.body.WriteTo(w)
	return err
}

func textStyle() text.Style {
	return text.Style{
		Color:   ink,
		Font:    font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, labelSize),
		Handler: plot.DefaultTextHandler,
	}
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

// panels draws the panels with their data areas one exactly over the other.
func (f Figure) panels(area draw.Canvas, lowX, highX float64) {
	shares := 0.0
	for _, p := range f.Panels {
		shares += p.share()
	}
	plots := make([]*plot.Plot, len(f.Panels))
	places := make([]draw.Canvas, len(f.Panels))
	last := len(f.Panels) - 1
	// Only the lowest panel has the axis' labels, so it needs more room.
	below := vg.Length(2*labelSize + 8)
	free := area.Size().Y - below - vg.Length(gap*last)
	top := area.Max.Y
	var left vg.Length
	right := vg.Length(20) // half of the last label
	for i, p := range f.Panels {
		h := free * vg.Length(p.share()/shares)
		plots[i] = f.plot(p, lowX, highX, h, i == last)
		if i == last {
			h += below
		}
		places[i] = area
		places[i].Max.Y, places[i].Min.Y = top, top-h
		top -= h + gap
		data := plots[i].DataCanvas(places[i])
		left = max(left, data.Min.X-area.Min.X)
		right = max(right, area.Max.X-data.Max.X)
	}
	for i, p := range plots {
		data := p.DataCanvas(places[i])
		places[i].Min.X += left - (data.Min.X - area.Min.X)
		places[i].Max.X -= right - (area.Max.X - data.Max.X)
		p.Draw(places[i])
	}
}

func (p Panel) share() float64 {
	if p.Share <= 0 {
		return 1
	}
	return p.Share
}

// plot makes the diagram of one panel.
func (f Figure) plot(p Panel, lowX, highX float64, height vg.Length, lowest bool) *plot.Plot {
	d := plot.New()
	d.BackgroundColor = nil
	for _, axis := range []*plot.Axis{&d.X, &d.Y} {
		axis.LineStyle = draw.LineStyle{Color: grid, Width: 1}
		axis.Tick.LineStyle = draw.LineStyle{Color: grid, Width: 1}
		axis.Tick.Length = 4
		axis.Padding = 0
		rotation, xAlign, yAlign := axis.Label.TextStyle.Rotation, axis.Label.TextStyle.XAlign, axis.Label.TextStyle.YAlign
		axis.Label.TextStyle = textStyle()
		axis.Label.TextStyle.Rotation, axis.Label.TextStyle.XAlign, axis.Label.TextStyle.YAlign = rotation, xAlign, yAlign
		xAlign, yAlign = axis.Tick.Label.XAlign, axis.Tick.Label.YAlign
		axis.Tick.Label = textStyle()
		axis.Tick.Label.XAlign, axis.Tick.Label.YAlign = xAlign, yAlign
	}
	// A label that is longer than its axis would run into that of the next panel.
	if label := textStyle(); vg.Length(wider)*label.Width(p.Y.Label) < height {
		d.Y.Label.Text = p.Y.Label
	}
	ticks := figureTicks
	if f.X.Time != nil {
		ticks = timeTicks(f.X.Time)
	}
	if lowest {
		d.X.Label.Text = f.X.Label
		d.X.Tick.Marker = plot.TickerFunc(ticks)
	} else {
		d.X.Tick.Marker = plot.TickerFunc(func(low, high float64) []plot.Tick {
			bare := ticks(low, high)
			for i := range bare {
				bare[i].Label = ""
			}
			return bare
		})
	}
	d.Y.Tick.Marker = plot.TickerFunc(figureTicks)
	if p.Y.Time != nil {
		d.Y.Tick.Marker = plot.TickerFunc(timeTicks(p.Y.Time))
	}
	d.Add(gridlines{})
	for i, l := range p.Layers {
		d.Add(drawer{l, f.X, p, i})
	}
	d.X.Min, d.X.Max = lowX, highX
	switch {
	case len(p.Rows) > 0:
		d.Y.Min, d.Y.Max = -0.5, float64(len(p.Rows))-0.5
		d.Y.Tick.Marker = plot.TickerFunc(func(_, _ float64) []plot.Tick {
			var rows []plot.Tick
			for i, name := range p.Rows {
				rows = append(rows, plot.Tick{Value: float64(len(p.Rows) - 1 - i), Label: name})
			}
			return rows
		})
	case p.Y.Min < p.Y.Max:
		d.Y.Min, d.Y.Max = p.Y.Min, p.Y.Max
	default:
		// Some air above and below, but not below zero when nothing is.
		air := (d.Y.Max - d.Y.Min) * 0.06
		if air == 0 {
			air = 1
		}
		if d.Y.Min < 0 || d.Y.Min-air >= 0 {
			d.Y.Min -= air
		} else {
			d.Y.Min = 0
		}
		d.Y.Max += air
	}
	return d
}

// legend draws the names of the layers in rows at the top and returns the height that they
// take.
func (f Figure) legend(area draw.Canvas) vg.Length {
	const sample, space, row = 26, 16, labelSize + 8
	style := textStyle()
	style.YAlign = draw.YCenter
	x, y := area.Min.X, area.Max.Y-row/2
	rows := 0
	seen := map[string]bool{}
	for _, p := range f.Panels {
		for i, l := range p.Layers {
			n, ok := l.(named)
			if !ok || n.name() == "" || seen[n.name()] {
				continue
			}
			seen[n.name()] = true
			need := sample + 6 + vg.Length(wider)*style.Width(n.name())
			if rows == 0 {
				rows = 1
			} else if x+need > area.Max.X {
				rows++
				x, y = area.Min.X, y-row
			}
			box := area
			box.Rectangle = vg.Rectangle{Min: vg.Point{X: x, Y: y - 5}, Max: vg.Point{X: x + sample, Y: y + 5}}
			n.sample(box, i)
			area.FillText(style, vg.Point{X: x + sample + 6, Y: y}, n.name())
			x += need + space
		}
	}
	return vg.Length(rows) * row
}
