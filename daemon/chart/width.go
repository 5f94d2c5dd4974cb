package chart

// widths are the widths of the characters from space to tilde, in thousandths of the size of the
// text: those of Helvetica (Adobe font metrics, 1997), which Arial and Liberation Sans have too.
var widths = [...]uint16{
	278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, // space to /
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, // 0 to ?
	1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778, // @ to O
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, // P to _
	333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, // ` to o
	556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584, // p to ~
}

// Widths of other characters: an average letter, and one of the East Asian scripts.
const (
	usualWidth    = 600
	fullWidth     = 1000
	firstFullWide = 0x2e80
)

// textWidth returns about how wide a text is, in CSS pixels. The browser's font may be another; see
// wider.
func textWidth(s string) float64 {
	sum := 0
	for _, r := range s {
		switch {
		case r >= ' ' && int(r-' ') < len(widths):
			sum += int(widths[r-' '])
		case r >= firstFullWide:
			sum += fullWidth
		default:
			sum += usualWidth
		}
	}
	return float64(sum) * labelSize / 1000
}
