package learn

import "strings"

// Words that tell one number from another.
var (
	netWords   = []string{"N", "NT", "NET", "NETT", "NETTO"}
	grossWords = []string{"G", "GS", "GR", "GROSS", "B", "BRUTTO"}
	otherWords = []string{"T", "TR", "TARE", "TARA", "PT", "PCS", "QTY", "NO", "ID", "TIME", "DATE", "CH", "SN", "COUNT"}
)

func among(text string, words []string) bool {
	for _, w := range words {
		if strings.EqualFold(text, w) {
			return true
		}
	}
	return false
}

// labelScore looks for the nearest word before a number.
func (t *template) labelScore(i int) int {
	for j := i - 1; j >= 0 && j >= i-3; j-- {
		if t.slots[j].kind == number {
			return 0
		}
		if j > 0 && t.slots[j-1].kind == number && t.slots[j].kind == word && (j == 1 || t.slots[j].counted() || t.slots[j].units()) {
			return 0 // it is that number's, as in 12 PCS
		}
		if t.slots[j].kind != word {
			continue
		}
		for text := range t.slots[j].counts {
			switch {
			case among(text, netWords):
				return 3
			case among(text, grossWords):
				return 1
			case among(text, otherWords):
				return -5
			}
		}
	}
	return 0
}

// otherKinds are units of other quantities, in small letters, as they follow a number without a space.
var otherKinds = map[string]bool{"c": true, "degc": true, "k": true, "v": true, "mv": true, "ma": true, "hz": true, "ms": true, "min": true, "rh": true}

// ofAnotherKind reports whether the unit of another quantity follows a number, always the same.
func (t *template) ofAnotherKind(i int) bool {
	if i+1 >= len(t.slots) || t.slots[i+1].kind != word || len(t.slots[i+1].counts) != 1 || 10*t.slots[i+1].missing() > len(t.rows) {
		return false
	}
	for text := range t.slots[i+1].counts {
		lower := strings.ToLower(text)
		return otherUnits[lower] || otherKinds[lower] && !t.slots[i+1].gap
	}
	return false
}

// ratedBy reports whether a stroke follows the unit of a number, as in g/s.
func (t *template) ratedBy(i int) bool {
	return i+2 < len(t.slots) && t.unitAt(i+1) && t.slots[i+2].counts["/"] > 0 && !t.slots[i+2].gap && i+3 < len(t.slots) && t.slots[i+3].kind == word
}
