package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// canvas is a vg.Canvas that writes SVG in which shapes have classes instead of colours. One
// point of the library is one CSS pixel here.
type canvas struct {
	body  bytes.Buffer
	stack []state
	marks int // how many were drawn: the first can be reached by the tab key
}

type state struct {
	tone   Tone
	width  vg.Length
	dashes []vg.Length
	groups int // transforms that Pop has to close
}

func newCanvas() *canvas {
	return &canvas{stack: []state{{tone: ink, width: 1}}}
}

func (c *canvas) top() *state { return &c.stack[len(c.stack)-1] }

func (c *canvas) SetLineWidth(w vg.Length)                    { c.top().width = w }
func (c *canvas) SetLineDash(dashes []vg.Length, _ vg.Length) { c.top().dashes = dashes }

// SetColor takes a Tone; the library's own black stands for text.
func (c *canvas) SetColor(col color.Color) {
	if tone, ok := col.(Tone); ok {
		c.top().tone = tone
		return
	}
	c.top().tone = ink
}

func (c *canvas) group(format string, args ...any) {
	fmt.Fprintf(&c.body, `<g transform="`+format+`">`, args...)
	c.top().groups++
}

func (c *canvas) Rotate(rad float64)   { c.group("rotate(%.4g)", rad*180/math.Pi) }
func (c *canvas) Translate(p vg.Point) { c.group("translate(%s,%s)", short(p.X), short(p.Y)) }
func (c *canvas) Scale(x, y float64)   { c.group("scale(%.4g,%.4g)", x, y) }

func (c *canvas) Push() {
	s := *c.top()
	s.groups = 0
	c.stack = append(c.stack, s)
}

func (c *canvas) Pop() {
	for range c.top().groups {
		c.body.WriteString("</g>")
	}
	c.stack = c.stack[:len(c.stack)-1]
}

func (c *canvas) Stroke(p vg.Path) {
	s := c.top()
	if s.width <= 0 || len(p) == 0 {
		return
	}
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
	c.path(p)
	c.body.WriteString("\"/>\n")
}

func (c *canvas) Fill(p vg.Path) { c.area(p, "area") }

// area fills a path; the class says how strongly.
func (c *canvas) area(p vg.Path, class string) {
	if len(p) == 0 {
		return
	}
	fmt.Fprintf(&c.body, `<path class="%s tone-%s" d="`, class, c.top().tone)
	c.path(p)
	c.body.WriteString("\"/>\n")
}

// path writes straight lines; an arc, of which only whole circles are drawn here, is written as
// a polygon.
func (c *canvas) path(p vg.Path) {
	for _, part := range p {
		switch part.Type {
		case vg.MoveComp:
			c.body.WriteString("M" + short(part.Pos.X) + "," + short(part.Pos.Y))
		case vg.LineComp, vg.CurveComp:
			c.body.WriteString("L" + short(part.Pos.X) + "," + short(part.Pos.Y))
		case vg.ArcComp:
			const corners = 16
			for i := range corners + 1 {
				angle := part.Start + part.Angle*float64(i)/corners
				x := part.Pos.X + part.Radius*vg.Length(math.Cos(angle))
				y := part.Pos.Y + part.Radius*vg.Length(math.Sin(angle))
				c.body.WriteString("L" + short(x) + "," + short(y))
			}
		case vg.CloseComp:
			c.body.WriteString("Z")
		}
	}
}

// FillString writes text upright: the picture as a whole is turned over, since the library's
// vertical axis runs upwards.
func (c *canvas) FillString(f font.Face, p vg.Point, text string) {
	if text == "" || f.Font.Size == 0 {
		return
	}
	fmt.Fprintf(&c.body, `<text class="tone-%s" font-size="%s" transform="scale(1,-1)" x="%s" y="%s">`,
		c.top().tone, short(f.Font.Size), short(p.X), short(-p.Y))
	c.text(text)
	c.body.WriteString("</text>\n")
}

// DrawImage draws nothing: no figure here has an image.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

func (c *canvas) text(s string) {
	// It fails only when writing to the buffer does, which it does not.
	_ = xml.EscapeText(&c.body, []byte(s))
}

// mark draws a point that can be touched and reached by the keyboard, with its text. The
// visible shape is drawn by the caller before endMark.
func (c *canvas) mark(text string) {
	index := "-1"
	if c.marks == 0 {
		index = "0"
	}
	c.marks++
	c.body.WriteString(`<g class="mark" role="img" tabindex="` + index + `" aria-label="`)
	c.text(text)
	c.body.WriteString(`"><title>`)
	c.text(text)
	c.body.WriteString("</title>")
}

func (c *canvas) endMark() { c.body.WriteString("</g>\n") }

// target draws the invisible disc that makes a small mark easy to touch.
func (c *canvas) target(p vg.Point) {
	fmt.Fprintf(&c.body, `<circle class="target" cx="%s" cy="%s" r="10"/>`, short(p.X), short(p.Y))
}

// of returns the canvas behind the library's drawing area, or behind an area cut from it.
func of(c draw.Canvas) *canvas {
	for {
		switch inner := c.Canvas.(type) {
		case *canvas:
			return inner
		case draw.Canvas:
			c = inner
		case *draw.Canvas:
			c = *inner
		}
	}
}

// short writes a length with a tenth of a pixel.
func short(l vg.Length) string {
	v := math.Round(float64(l)*10) / 10
	return fmt.Sprintf("%g", v)
}
