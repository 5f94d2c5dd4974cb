package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
)

// vec is a place in CSS pixels, upwards from the lower left corner of the figure.
type vec struct{ x, y float64 }

// box is an upright rectangle.
type box struct{ min, max vec }

func (b box) width() float64  { return b.max.x - b.min.x }
func (b box) height() float64 { return b.max.y - b.min.y }
func (b box) centre() vec     { return vec{(b.min.x + b.max.x) / 2, (b.min.y + b.max.y) / 2} }

func (b box) corners() []vec {
	return []vec{b.min, {b.max.x, b.min.y}, b.max, {b.min.x, b.max.y}}
}

// slop is how far beyond an edge rounding may bring what lies on it.
const slop = 1e-6

func (b box) hasX(x float64) bool { return x >= b.min.x-slop && x <= b.max.x+slop }
func (b box) hasY(y float64) bool { return y >= b.min.y-slop && y <= b.max.y+slop }
func (b box) has(p vec) bool      { return b.hasX(p.x) && b.hasY(p.y) }

// stroke is how a line is drawn.
type stroke struct {
	tone   Tone
	width  float64
	dashes []float64
}

// canvas writes SVG. Colours are classes; a [Tone] names them.
type canvas struct {
	body  bytes.Buffer
	marks int // how many were drawn: the first can be reached by the tab key
}

// line draws a line through points.
func (c *canvas) line(s stroke, points ...vec) {
	fmt.Fprintf(&c.body, `<path class="line tone-%s" stroke-width="%s"`, s.tone, short(s.width))
	for i, d := range s.dashes {
		if i == 0 {
			c.body.WriteString(` stroke-dasharray="`)
		} else {
			c.body.WriteByte(' ')
		}
		c.body.WriteString(short(d))
	}
	if len(s.dashes) > 0 {
		c.body.WriteByte('"')
	}
	c.body.WriteString(` d="`)
	c.path(points)
	c.body.WriteString("\"/>\n")
}

// outline draws the closed line through points.
func (c *canvas) outline(s stroke, points []vec) { c.line(s, append(points, points[0])...) }

// area fills a polygon with a class of its own.
func (c *canvas) area(tone Tone, class string, points []vec) {
	if len(points) == 0 {
		return
	}
	fmt.Fprintf(&c.body, `<path class="%s tone-%s" d="`, class, tone)
	c.path(points)
	c.body.WriteString("Z\"/>\n")
}

func (c *canvas) path(points []vec) {
	for i, p := range points {
		if i == 0 {
			c.body.WriteByte('M')
		} else {
			c.body.WriteByte('L')
		}
		c.body.WriteString(short(p.x) + "," + short(p.y))
	}
}

// circle draws a circle, filled or as a ring.
func (c *canvas) circle(tone Tone, at vec, radius float64, filled bool) {
	class, width := "area", ""
	if !filled {
		class, width = "line", ` stroke-width="1"`
	}
	fmt.Fprintf(&c.body, `<circle class="%s tone-%s"%s cx="%s" cy="%s" r="%s"/>`+"\n", class, tone, width, short(at.x), short(at.y), short(radius))
}

// anchor says which end of a text is at its place.
type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// text writes a text whose base line is at a place.
func (c *canvas) text(at vec, a anchor, s string) {
	c.write(fmt.Sprintf(`transform="scale(1,-1)" x="%s" y="%s"`, short(at.x), short(-at.y)), a, s)
}

// upright writes a text that runs upwards, with its middle at a place.
func (c *canvas) upright(at vec, s string) {
	c.write(fmt.Sprintf(`transform="translate(%s,%s) scale(1,-1) rotate(-90)" x="0" y="0"`, short(at.x), short(at.y)), middle, s)
}

func (c *canvas) write(place string, a anchor, s string) {
	if s == "" {
		return
	}
	fmt.Fprintf(&c.body, `<text class="tone-%s" font-size="%d" text-anchor="%s" %s>`, ink, labelSize, a, place)
	c.escaped(s)
	c.body.WriteString("</text>\n")
}

func (c *canvas) escaped(s string) {
	// It fails only when writing to the buffer does, which it does not.
	_ = xml.EscapeText(&c.body, []byte(s))
}

// mark begins a group that says what the shapes in it mean: as a tooltip, to a screen reader,
// and to somebody who moves through the marks with the arrow keys.
func (c *canvas) mark(text string) {
	index := "-1"
	if c.marks == 0 {
		index = "0"
	}
	c.marks++
	c.body.WriteString(`<g class="mark" role="img" tabindex="` + index + `" aria-label="`)
	c.escaped(text)
	c.body.WriteString(`"><title>`)
	c.escaped(text)
	c.body.WriteString("</title>")
}

func (c *canvas) endMark() { c.body.WriteString("</g>\n") }

// target is an invisible circle that a pointer hits more easily than a line.
func (c *canvas) target(p vec) {
	fmt.Fprintf(&c.body, `<circle class="target" cx="%s" cy="%s" r="10"/>`, short(p.x), short(p.y))
}

// short is a length with a tenth of a pixel.
func short(l float64) string {
	v := math.Round(l*10) / 10
	return fmt.Sprintf("%g", v)
}
