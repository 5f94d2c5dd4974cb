// Package chart draws figures as SVG: lines, bands, points with intervals, and spans over a
// time axis. A figure has a title, a description, and the same data as a table, so that it can
// be read without seeing it. It has no colours of its own: every shape has a class, and the
// style sheet of this package gives the classes colours for light, dark and print. Each series
// also has its own dash pattern and shape, since colour alone does not tell it.
//
// Shapes have classes and no style attributes, which the pages' content policy refuses.
package chart

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Figure is what is drawn: panels one above the other with the same horizontal axis.
type Figure struct {
	ID     string // identifies the figure in its document; letters, digits and hyphens
	Title  string
	About  string // one or two sentences that say what is seen, for people who do not see it
	Empty  string // what is shown when no panel has a point
	X      Axis
	Panels []Panel
	Width  int // in CSS pixels, 200 to 4000
	Height int // in CSS pixels, 60 to 4000
}

// Panel is one diagram of a figure.
type Panel struct {
	Y      Axis
	Rows   []string // names of the rows of Spans, from the top; then the axis has no figures
	Share  float64  // of the figure's height, relative to the other panels; 0 means 1
	Layers []Layer  // drawn in this order
}

// Axis is a horizontal or vertical axis.
type Axis struct {
	Label string
	// Time, when it is set, makes it a time axis: values are Unix seconds, and the ticks are
	// whole hours, days or months in this zone.
	Time *time.Location
	// Min and Max bound the axis. Where they are equal, the data does.
	Min, Max float64
	// Format words a value for the table and for the text of a point. Nil formats figures with
	// up to four digits, and times as date and time of day.
	Format func(float64) string
}

func (a Axis) format(v float64) string {
	switch {
	case a.Format != nil:
		return a.Format(v)
	case a.Time != nil:
		return at(v, a.Time).Format("2 Jan 2006 15:04")
	}
	return fmt.Sprintf("%.4g", v)
}

// at returns the time of a value on a time axis.
func at(v float64, zone *time.Location) time.Time {
	return time.UnixMilli(int64(math.Round(v * 1000))).In(zone)
}

// X returns a time as a value on a time axis.
func X(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

// Tone is the role of a shape, from which the style sheet takes its colour. It is also the
// suffix of the shape's class.
type Tone string

// The tones.
const (
	Series1 Tone = "series-1"
	Series2 Tone = "series-2"
	Series3 Tone = "series-3"
	Series4 Tone = "series-4"
	Limit   Tone = "limit" // a limit or a centre line
	Alarm   Tone = "alarm" // out of a limit, or an end
	Quiet   Tone = "quiet" // secondary
	ink     Tone = "text"
	grid    Tone = "grid"
)

// Tones are the tones for series that are told apart, in their order.
var Tones = []Tone{Series1, Series2, Series3, Series4}

// RGBA makes a Tone a color.Color, as the plotting library asks for. The style sheet decides.
func (Tone) RGBA() (r, g, b, a uint32) { return 0, 0, 0, 0xffff }

// Layer is a Line, Band, Marks, Spans or Rule.
type Layer interface{ check() error }

// Point is a value. A Y of NaN is a gap.
type Point struct{ X, Y float64 }

// Line joins points, which are in the order of X.
type Line struct {
	Name   string // in the legend and the table; empty: in neither
	Tone   Tone
	Dashed bool
	Steps  bool // each value holds until the next point
	Points []Point
}

// Interval is a range of values at X.
type Interval struct{ X, Low, High float64 }

// Band fills the area between the ends of intervals, which are in the order of X.
type Band struct {
	Name   string
	Tone   Tone
	Points []Interval
}

// Mark is a single value with its interval, if it has one.
type Mark struct {
	X, Y      float64
	Low, High float64 // equal where there is no interval
	Text      string  // what else is said of it, such as the name of a batch
	Alarm     bool    // drawn as out of a limit
}

// Marks are single values. People can step through them with the arrow keys and touch them
// (lib/picture.js of the pages).
type Marks struct {
	Name   string
	Tone   Tone
	Points []Mark
}

// Span is a period or a range in one row of a panel.
type Span struct {
	From, To float64
	Row      int // index in Panel.Rows
	Text     string
	Tone     Tone
}

// Spans are bars in the rows of a panel.
type Spans struct {
	Name  string
	Spans []Span
}

// Rule is a straight line over the whole panel.
type Rule struct {
	Name     string
	Tone     Tone
	At       float64
	Vertical bool
	Text     string
}

var errInfinite = errors.New("a value is infinite or an X is not a number")

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func (l Line) check() error {
	for i, p := range l.Points {
		if !finite(p.X) || math.IsInf(p.Y, 0) {
			return errInfinite
		}
		if i > 0 && p.X < l.Points[i-1].X {
			return fmt.Errorf("line %q runs back at point %d", l.Name, i)
		}
	}
	return nil
}

func (b Band) check() error {
	for i, p := range b.Points {
		if !finite(p.X) || math.IsInf(p.Low, 0) || math.IsInf(p.High, 0) {
			return errInfinite
		}
		if p.Low > p.High {
			return fmt.Errorf("band %q: low %v is above high %v", b.Name, p.Low, p.High)
		}
		if i > 0 && p.X < b.Points[i-1].X {
			return fmt.Errorf("band %q runs back at point %d", b.Name, i)
		}
	}
	return nil
}

func (m Marks) check() error {
	for _, p := range m.Points {
		if !finite(p.X, p.Y, p.Low, p.High) {
			return errInfinite
		}
	}
	return nil
}

func (s Spans) check() error {
	for _, p := range s.Spans {
		if !finite(p.From, p.To) {
			return errInfinite
		}
		if p.To < p.From {
			return fmt.Errorf("span %q ends before it begins", p.Text)
		}
	}
	return nil
}

func (r Rule) check() error {
	if !finite(r.At) {
		return errInfinite
	}
	return nil
}

// check says what cannot be drawn.
func (f Figure) check() error {
	if f.Width < 200 || f.Width > 4000 || f.Height < 60 || f.Height > 4000 {
		return fmt.Errorf("chart %s: %d x %d pixels, want 200 to 4000 by 60 to 4000", f.ID, f.Width, f.Height)
	}
	if len(f.Panels) == 0 {
		return fmt.Errorf("chart %s: no panel", f.ID)
	}
	for i, p := range f.Panels {
		for _, l := range p.Layers {
			if err := l.check(); err != nil {
				return fmt.Errorf("chart %s, panel %d: %w", f.ID, i+1, err)
			}
			if s, ok := l.(Spans); ok {
				for _, span := range s.Spans {
					if span.Row < 0 || span.Row >= len(p.Rows) {
						return fmt.Errorf("chart %s, panel %d: span %q is in row %d of %d", f.ID, i+1, span.Text, span.Row, len(p.Rows))
					}
				}
			}
		}
	}
	return nil
}
