// Package label draws the label for a cup as SVG, in millimetres.
package label

import (
	"fmt"
	"html"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/boombuler/barcode/qr"

	"potlifed/daemon/words"
)

// width and height are the label's size, mm.
const (
	width  = 60
	height = 40
)

// Label is the content of a cup's label. Low and Expected are the low bound and the median of the
// time at which the pot life ends, as estimated at MadeAt.
type Label struct {
	Batch, Ink    string
	Press         string // where it is, or is to go; may be empty
	MixedAt       time.Time
	Low, Expected time.Time
	MadeAt        time.Time
	Uncertain     bool   // Low and Expected cannot be relied on
	RatioFault    string // how far the mix is out of ratio, and why it is used; empty when it is in ratio
	URL           string // of the batch's page; empty for no code
	Locale        words.Locale
}

// quiet is the margin that readers of a QR code need, in modules (ISO/IEC 18004, 9.1).
const quiet = 4

// codeMM is the width of the code with its margin. At 25 mm even a code of 41 modules has
// half a millimetre each, which a phone reads at arm's length.
const codeMM = 25

// SVG draws the label. The error is that of an URL too long for a code.
func (l Label) SVG() ([]byte, error) {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%dmm" height="%dmm" viewBox="0 0 %d %d" font-family="system-ui, sans-serif" fill="#000">`, width, height, width, height)
	fmt.Fprintf(&b, `<title>%s</title><rect width="%d" height="%d" fill="#fff"/>`, html.EscapeString(l.Words()), width, height)
	wide := float64(width - 4)
	if l.URL != "" {
		wide = width - codeMM - 3
	}
	text := func(y, size, widest float64, weight int, words string) {
		fit := ""
		// About 0.56 of the size is the width of a letter; what may be wider is squeezed.
		if float64(utf8.RuneCountInString(words))*size*0.6 > widest {
			fit = fmt.Sprintf(` textLength="%.1f" lengthAdjust="spacingAndGlyphs"`, widest)
		}
		fmt.Fprintf(&b, `<text x="2" y="%.1f" font-size="%.1f" font-weight="%d"%s>%s</text>`, y, size, weight, fit, html.EscapeString(words))
	}
	text(7.6, 6.6, wide, 700, l.Batch)
	text(12, 3.4, wide, 600, l.Ink)
	mixed := l.Locale.Say("label.mixed", "time", l.clock(l.MixedAt))
	if l.Press != "" {
		mixed = l.Locale.Say("label.mixed-for", "time", l.clock(l.MixedAt), "press", l.Press)
	}
	text(15.8, 2.8, wide, 400, mixed)
	text(21.6, 4.5, wide, 700, l.Locale.Say("label.safe-to", "time", l.clock(l.Low)))
	if l.RatioFault == "" {
		text(26, 3.2, wide, 400, l.Locale.Say("label.expected", "time", l.clock(l.Expected)))
		text(28.4, 2.2, width-4, 400, l.made())
	} else { // nobody can tell when such a mix is expected to end
		text(26, 4, wide, 700, l.Locale.Say("label.out-of-ratio"))
		text(28.4, 2.2, width-4, 700, l.RatioFault)
	}
	text(30.6, 2.2, width-4, 600, l.Locale.Say("label.humid"))
	fmt.Fprintf(&b, `<path d="M2 31h%dv.2H2z"/>`, width-4)
	text(33.8, 2.2, width-4, 400, l.Locale.Say("label.isocyanate"))
	text(36.4, 2.2, width-4, 400, l.Locale.Say("label.sheet"))
	text(39, 2.2, width-4, 600, l.Locale.Say("label.lid"))
	if l.URL != "" {
		if err := l.code(&b); err != nil {
			return nil, err
		}
	}
	b.WriteString("</svg>\n")
	return []byte(b.String()), nil
}

// made is when the label's times were estimated.
func (l Label) made() string {
	values := []any{"day", l.Locale.Day(l.MadeAt), "time", l.clock(l.MadeAt)}
	if l.Uncertain {
		return l.Locale.Say("label.estimated-uncertain", values...)
	}
	return l.Locale.Say("label.estimated", values...)
}

// code draws the QR code at the right upper corner, as one path of dark modules. Level M
// mends 15 % of it, for inky fingers.
func (l Label) code(b *strings.Builder) error {
	code, err := qr.Encode(l.URL, qr.M, qr.Auto)
	if err != nil {
		return fmt.Errorf("label: code of %q: %w", l.URL, err)
	}
	n := code.Bounds().Dx()
	module := float64(codeMM) / float64(n+2*quiet)
	fmt.Fprintf(b, `<g transform="translate(%d 1) scale(%.5f) translate(%d %d)"><path shape-rendering="crispEdges" d="`, width-codeMM, module, quiet, quiet)
	for y := range n {
		for x := 0; x < n; x++ {
			run := 0
			for x+run < n && dark(code.At(x+run, y).RGBA()) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(b, "M%d %dh%dv1h-%dz", x, y, run, run)
				x += run
			}
		}
	}
	b.WriteString(`"/></g>`)
	return nil
}

func dark(r, _, _, _ uint32) bool { return r < 0x8000 }

// clock writes a time of day, with its weekday where that is not the label's own.
func (l Label) clock(at time.Time) string { return l.Locale.Clock(at, l.MadeAt) }

// Words is the label for those who do not see it.
func (l Label) Words() string {
	words := l.Locale.Say("label.words", "batch", l.Batch, "ink", l.Ink, "mixed", l.clock(l.MixedAt), "low", l.clock(l.Low),
		"expected", l.clock(l.Expected), "made", l.clock(l.MadeAt))
	if l.RatioFault != "" {
		words += ". " + l.Locale.Say("label.out-of-ratio") + ": " + l.RatioFault
	}
	return words
}
