package learn

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"potlifed/devices/scale"
)

// ignoredPart returns a doubt where a sign or a mark of the number stands beside the weight in some
// lines and is not read with it: the weight may be another one.
func (t *template) ignoredPart(c chosen) []string {
	if before := c.slot - 1; before >= 0 && t.slots[before].kind == number && t.decimals(before) == 0 && t.slots[before].counts["0"] == 0 && t.threeDigits(c.slot) {
		return []string{unsureMark + "A number stands right before the weight, which may be its thousands."}
	}
	if list := t.series(c.slot); t.decimals(c.slot) > 0 && neverRests(list) {
		return []string{unsureMark + "The number never came twice in a row: a counter may be a part of it."}
	}
	if t.complement(c.slot) {
		return []string{unsureMark + "Some numbers begin with nines and are far above all others: they may be weights below zero."}
	}
	if t.joinedByMinus(c.slot) {
		return []string{unsureMark + "A minus joins the weight to another number: it may be a part of a date."}
	}
	if t.flagOfDecimals(c.slot) {
		return []string{unsureMark + "The decimals have one or two values, whatever the weight: they may be another number."}
	}
	if doubt := t.gluedFlag(c.slot); doubt != "" {
		return []string{doubt}
	}
	if t.halfNumber(c.slot) {
		return []string{unsureMark + "A comma joins the weight to another number: it may be a decimal mark."}
	}
	for _, i := range []int{c.slot - 1, c.slot + 1} {
		if i < 0 || i >= len(t.slots) || t.slots[i].kind != punct || t.fields[i] != "" {
			continue
		}
		s := t.slots[i]
		for text := range s.counts {
			if strings.Contains(".,'", text) && (s.gap || i < c.slot && t.slots[c.slot].gap) {
				continue // a mark of its own
			}
			if s.missing() == 0 && len(s.counts) == 2 && t.takesTurns(s) {
				continue // so is this
			}
			if strings.Contains("+-.,'", text) && (len(s.counts) > 1 || s.missing() > 0) {
				return []string{unsureMark + fmt.Sprintf("Some lines have %q beside the weight, which may be a part of it.", text)}
			}
		}
	}
	return nil
}

// takesTurns reports whether another mark takes the place of a minus.
func (t *template) takesTurns(s *slot) bool {
	for text := range s.counts {
		if strings.Contains("=~*?!#", text) {
			return true
		}
	}
	return false
}

// mostRefused is the share of lines that may be refused though they look like the others: they may be damaged.
const mostRefused = 1.0 / 15

// doubtRefused makes a proposal unsure that refuses lines which look like those that it reads, such as lines that were
// taken for damaged.
func (p *Proposal) doubtRefused(lines []text) {
	shape, err := scale.ParseShape(p.Line)
	if err != nil || p.record {
		return
	}
	read, refused := map[string]bool{}, []text{}
	for _, l := range lines {
		if !anyDigits.MatchString(l.body) {
			continue
		}
		if _, err := shape.Decode(l.framed(strings.Contains(p.Line, "after-etx"))); err != nil {
			refused = append(refused, l)
			continue
		}
		for _, form := range outlines(l.body + "  ") {
			read[form] = true
		}
	}
	n := 0
	for _, l := range refused {
		for _, form := range outlines(l.body + "  ") {
			if read[form] {
				n++
				break
			}
		}
	}
	if float64(n) > mostRefused*float64(len(lines)) {
		p.Certainty = Unsure
		p.Reasons = append(p.Reasons, fmt.Sprintf("%d lines look like those that are read, and are refused.", n))
	}
}

// halfNumber reports whether a comma or a point joins a number without decimals to another one: where
// most lines have decimal points, as of a temperature, a comma is not read as a decimal mark.
func (t *template) halfNumber(slot int) bool {
	if t.writing.behindComma {
		return false
	}
	for _, step := range []int{1, -1} {
		j := slot + 2*step
		if j < 0 || j >= len(t.slots) || t.slots[j].kind != number {
			continue
		}
		mark, next := t.slots[slot+step], max(slot, j)
		if (mark.counts[","] > 0 || mark.counts["."] > 0) && !mark.gap && !t.slots[next].gap && t.decimals(slot) == 0 && t.decimals(j) == 0 {
			return true
		}
	}
	return false
}

// flagOfDecimals reports whether different numbers have the same decimals, or one of two, as where a comma
// joins a flag or a year to whole grams. The decimals of a scale that counts in halves or wholes are
// none.
func (t *template) flagOfDecimals(slot int) bool {
	wholes, decimals := map[string]bool{}, map[string]bool{}
	flag := false
	for i, r := range t.rows {
		at := t.slots[slot].at[i]
		if at < 0 {
			continue
		}
		whole, fraction, _ := strings.Cut(r.tokens[at].plain, ".")
		wholes[whole], decimals[fraction] = true, true
		fraction = strings.TrimRight(fraction, "0")
		flag = flag || fraction != "" && fraction != "5"
	}
	return flag && len(decimals) <= 2 && len(wholes) >= 4
}

// complement reports whether some numbers begin with nines and are many times as large as all others.
func (t *template) complement(slot int) bool {
	least, most := math.Inf(1), 0.0
	for i, r := range t.rows {
		at := t.slots[slot].at[i]
		switch {
		case at < 0 || t.over[i]:
		case strings.HasPrefix(strings.TrimLeft(r.tokens[at].plain, "0"), "99"):
			least = min(least, r.tokens[at].value())
		default:
			most = max(most, r.tokens[at].value())
		}
	}
	return !math.IsInf(least, 1) && least > 3*most
}

// joinedByMinus reports whether the minus of a number stands right behind another number that has one
// before it too, as in a date.
func (t *template) joinedByMinus(slot int) bool {
	for i, r := range t.rows {
		at := t.slots[slot].at[i]
		if at < 0 || !r.tokens[at].negative || r.tokens[at].trailing {
			continue
		}
		before := strings.TrimRight(r.text.body[:r.tokens[at].column], " ")
		before, minus := strings.CutSuffix(before, "-")
		digits := strings.TrimRight(before, "0123456789")
		if minus && len(digits) < len(before) && strings.HasSuffix(digits, "-") {
			return true
		}
	}
	return false
}

// neverRests reports whether a series of many numbers has none twice in a row.
func neverRests(list []float64) bool {
	for k := 1; k < len(list); k++ {
		if list[k] == list[k-1] {
			return false
		}
	}
	return len(list) >= enoughLines
}

// mostSignTexts is how many forms a mark may take that tells the sign. More are data.
const mostSignTexts = 12

// maybeSign returns a mark that may be the sign of numbers that have none, as a letter or a bit of a
// status: it never comes with zero, and weights come both with it and without it. It
// returns an empty text where the numbers have signs, or where no such mark is.
func (t *template) maybeSign(c chosen) string {
	if t.signed(c.slot) {
		return ""
	}
	for _, r := range t.rows {
		for _, token := range r.tokens {
			if token.negative {
				return "" // a mark was found
			}
		}
	}
	sizes, order := t.series(c.slot), t.order()
	moving := t.moving(c)
	for j, s := range t.slots {
		if j == c.slot || j == c.unit || t.decimals(j) > 0 || t.dated(j) {
			continue
		}
		of := map[string]map[float64]bool{} // the weights that came with each text
		zero := false
		for k, i := range order {
			text := ""
			if at := s.at[i]; at >= 0 {
				text = t.rows[i].tokens[at].text
			}
			if of[text] == nil {
				of[text] = map[float64]bool{}
			}
			of[text][sizes[k]] = true
			zero = zero || sizes[k] == 0
		}
		if !zero || len(of) < 2 || len(of) > mostSignTexts {
			continue
		}
		means := t.meanings(j, keysOf(of), moving)
		if text := signAmong(of, means, t.movingShare(j, moving)); text != "" {
			return text
		}
		for text := range of {
			set := make([]bool, len(t.rows))
			for i := range set {
				set[i] = t.hasText(j, i, text)
			}
			if text != "" && t.fields[j] == "" && means[text] != "moving" && means[text] != "stable" && means[text] != "over" && means[text] != "under" && !t.over[slices.Index(set, true)] && t.tellsMinus(c.slot, set, moving) {
				return text
			}
		}
	}
	return ""
}

// signAmong returns the text that never comes with zero and shares a weight with another text, and that comes
// with weights at rest too: one that does not tells the movement.
func signAmong(of map[string]map[float64]bool, means map[string]string, share map[string]float64) string {
	for _, text := range keysOf(of) {
		if text == "" || of[text][0] || means[text] == "moving" || means[text] == "stable" || share[text] > 0.85 {
			continue
		}
		for _, other := range keysOf(of) {
			for g := range of[text] {
				if other != text && means[other] != "moving" && of[other][g] {
					return text
				}
			}
		}
	}
	return ""
}

func keysOf(of map[string]map[float64]bool) []string {
	counts := map[string]int{}
	for text, weights := range of {
		counts[text] = len(weights)
	}
	return sortedKeys(counts)
}
