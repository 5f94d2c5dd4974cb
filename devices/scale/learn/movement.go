package learn

import (
	"math"
	"strings"
)

// largestDivision is how many counts of its last digit a scale goes up by at once, at most.
const largestDivision = 20

// moving tells for each row whether its weight differs from that of the line before it by more than the
// last digit flickers. A line that comes twice is as the first of the two.
func (t *template) moving(c chosen) []bool {
	list, order := t.series(c.slot), t.order()
	step := math.Inf(1) // the smallest change
	for k := 1; k < len(list); k++ {
		if d := math.Abs(list[k] - list[k-1]); d > 0 {
			step = math.Min(step, d)
		}
	}
	if digit := math.Pow10(-t.decimals(c.slot)); step > largestDivision*digit {
		step = digit // nothing flickered, and the smallest change is of a pour
	}
	is := make([]bool, len(t.rows))
	for k, i := range order {
		is[i] = k > 0 && math.Abs(list[k]-list[k-1]) > 1.5*step
		if k > 1 && t.sameLine(i, order[k-1]) && !t.sameLine(order[k-1], order[k-2]) {
			is[i] = is[order[k-1]]
		}
	}
	return is
}

// sameLine reports whether two rows are of lines with the same text.
func (t *template) sameLine(i, j int) bool { return t.rows[i].text.body == t.rows[j].text.body }

// meanings tells what each text of a slot means: from the common formats where what was seen
// does not contradict, else from whether the weight moves when it comes.
func (t *template) meanings(slot int, texts []string, moving []bool) map[string]string {
	share := t.movingShare(slot, moving)
	calmest, liveliest := 2.0, -1.0
	for _, text := range texts {
		calmest, liveliest = min(calmest, share[text]), max(liveliest, share[text])
	}
	means, known := map[string]string{}, 0
	if t.gradesWeight(slot, texts) {
		for _, text := range texts {
			means[text] = "any"
		}
		return means
	}
	over := t.overTexts(slot, texts)
	for _, text := range texts {
		if over[text] {
			means[text] = "over"
			continue
		}
		m := meanings[strings.ToUpper(text)]
		// A mark of a stable weight does not come with the liveliest lines.
		if m == "stable" && share[text] > 0.7 && calmest < 0.4 || m == "moving" && share[text] < 0.2 && liveliest > 0.6 {
			m = ""
		}
		if means[text] = m; m != "" {
			known++
		}
	}
	if t.hardlyChanges(slot, texts) {
		for _, text := range texts {
			if means[text] == "" {
				means[text] = "any"
			}
		}
		return means
	}
	zero := len(texts) == 2 && (t.onlyWithZero(slot, texts[0]) || t.onlyWithZero(slot, texts[1]))
	if known == 0 && (zero || t.ofLevel(slot, texts)) {
		for _, text := range texts {
			if means[text] == "" {
				means[text] = "any"
			}
		}
		return means
	}
	longRest, longMove := t.runs(slot, moving)
	tells := liveliest-calmest > 0.45 && liveliest > 0.6
	for _, text := range texts {
		if means[text] != "" {
			continue
		}
		means[text] = "any"
		counterpart := t.has(means, "stable") || t.has(means, "moving") || known == 0
		switch {
		case !counterpart || t.onlyWithZero(slot, text):
		case share[text] > 0.6 && longRest[text] <= mostRest && !t.has(means, "moving") && (tells || t.has(means, "stable")):
			means[text] = "moving"
		case share[text] < 0.4 && longMove[text] <= mostMove && !t.has(means, "stable") && (tells || t.has(means, "moving")):
			means[text] = "stable"
		}
	}
	return means
}

// gradesWeight reports whether a word for out of range comes with different weights: the words tell how a weight compares with
// limits that were set.
func (t *template) gradesWeight(slot int, texts []string) bool {
	list := t.byRow(t.weightSlot)
	for _, text := range texts {
		m, with := meanings[strings.ToUpper(text)], map[float64]bool{}
		for i := range t.rows {
			if t.hasText(slot, i, text) && !math.IsNaN(list[i]) {
				with[list[i]] = true
			}
		}
		if (m == "over" || m == "under") && len(with) > 2 {
			return true
		}
	}
	return false
}

// What a mark of the movement does while a cup is put on and taken off.
const (
	fewestSwitches = 3    // it comes and goes
	fewestMarked   = 0.05 // in a part of the lines that is not small
)

// hardlyChanges reports whether a mark comes and goes too seldom to tell the movement, as the charge of a battery does.
func (t *template) hardlyChanges(slot int, texts []string) bool {
	switches, last, counts := 0, "", map[string]int{}
	for k, i := range t.order() {
		text := ""
		if at := t.slots[slot].at[i]; at >= 0 {
			text = t.rows[i].tokens[at].text
		}
		if counts[text]++; k > 0 && text != last {
			switches++
		}
		last = text
	}
	most := 0
	for _, n := range counts {
		most = max(most, n)
	}
	return switches < fewestSwitches || float64(len(t.rows)-most) < fewestMarked*float64(len(t.rows))
}

// ofLevel reports whether two texts part the weights into lighter and heavier ones, as the number of a weighing range
// does. Marks of the movement come with both.
func (t *template) ofLevel(slot int, texts []string) bool {
	if len(texts) != 2 {
		return false
	}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for i, v := range t.byRow(t.weightSlot) {
		if w := t.slots[t.weightSlot].at[i]; w >= 0 && t.rows[i].tokens[w].negative {
			v = -v
		}
		at, k := t.slots[slot].at[i], 0
		if text := texts[1]; at < 0 && text == "" || at >= 0 && t.rows[i].tokens[at].text == text {
			k = 1
		}
		if !math.IsNaN(v) {
			low[k], high[k] = math.Min(low[k], v), math.Max(high[k], v)
		}
	}
	return high[0] < low[1] || high[1] < low[0]
}

// onlyWithZero reports whether a text comes with no other weight than zero: it is a mark for zero.
func (t *template) onlyWithZero(slot int, text string) bool {
	for i, v := range t.byRow(t.weightSlot) {
		at := t.slots[slot].at[i]
		if has := at >= 0 && t.rows[i].tokens[at].text == text || at < 0 && text == ""; has && v != 0 {
			return false
		}
	}
	return true
}

func (t *template) has(means map[string]string, meaning string) bool {
	for _, m := range means {
		if m == meaning {
			return true
		}
	}
	return false
}

// movingShare returns for each text of a slot on which share of its lines the weight moved.
func (t *template) movingShare(slot int, moving []bool) map[string]float64 {
	n, moved := map[string]float64{}, map[string]float64{}
	for i, r := range t.rows {
		text := ""
		if at := t.slots[slot].at[i]; at >= 0 {
			text = r.tokens[at].text
		}
		n[text]++
		if moving[i] {
			moved[text]++
		}
	}
	for text := range n {
		moved[text] /= n[text]
	}
	return moved
}

// How long a mark of unknown meaning may come with weights that contradict it, in lines: a scale waits
// before it calls a weight stable, and calls the first line of a pour stable at times.
const (
	mostRest = 5
	mostMove = 2
)

// runs returns for each text of a slot the most lines in a row with it in which the weight rested, and in
// which it moved.
func (t *template) runs(slot int, moving []bool) (rest, move map[string]int) {
	rest, move = map[string]int{}, map[string]int{}
	last, n := "", 0
	moved := false
	for k, i := range t.order() {
		text := ""
		if at := t.slots[slot].at[i]; at >= 0 {
			text = t.rows[i].tokens[at].text
		}
		if k == 0 || text != last || moving[i] != moved {
			n = 0
		}
		n++
		last, moved = text, moving[i]
		if moved {
			move[text] = max(move[text], n)
		} else {
			rest[text] = max(rest[text], n)
		}
	}
	return rest, move
}
