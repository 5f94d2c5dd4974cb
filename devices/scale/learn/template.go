package learn

import (
	"maps"
	"slices"
	"sort"
)

// slot is one part that the lines have in the same place.
type slot struct {
	kind   kind
	counts map[string]int // how often each text came; of numbers, those of one digit only
	gap    bool           // spaces came before it
	at     []int          // for each row the index of its token, -1 where it is missing
}

func (s *slot) missing() int {
	n := 0
	for _, i := range s.at {
		if i < 0 {
			n++
		}
	}
	return n
}

// template is the parts that rows have in common, and where each row has them.
type template struct {
	rows   []row
	slots  []*slot
	silent []row // lines without a number
	record bool  // other lines beside these belong to each weight

	writing    writing
	weightSlot int
	pounds     int            // the slot of whole pounds before ounces, from 1 on; 0 where there are none
	backward   bool           // the digits of the weight come from the last to the first
	told       int            // the slot whose marks tell a moving weight from a stable one, from 1 on; 0 for none
	fields     map[int]string // what is written for some slots, whatever their texts
	over       map[int]bool   // rows whose weight is out of range
	nines      []row          // left out: their number is all nines, since the weight is out of range
}

// align lays the rows on each other, the most frequent form first. A form that came once in many
// lines and fits badly is noise, and its row is left out.
func align(rows []row, early bool) *template {
	forms := map[string][]int{}
	counts := map[string]int{}
	for i, r := range rows {
		s := r.signature()
		forms[s] = append(forms[s], i)
		counts[s]++
	}
	t := &template{fields: map[int]string{}, over: map[int]bool{}}
	for n, form := range sortedKeys(counts) {
		if n >= mostForms {
			break
		}
		members := forms[form]
		first := rows[members[0]]
		path, cost := t.fit(first.tokens, early)
		rare := 10*len(members) < len(rows)
		if n > 0 && rare && (cost > noiseCost || len(members) == 1 && len(rows) >= enoughLines && adds(path)) {
			continue
		}
		t.add(path, first.tokens)
		for _, i := range members {
			t.put(rows[i], path)
		}
	}
	t.join()
	return t
}

// join makes one slot of a digit and a letter or another mark that take turns in one place: they are marks both.
func (t *template) join() {
	t.dropFill()
	for i := 0; i+1 < len(t.slots); i++ {
		a, b := t.slots[i], t.slots[i+1]
		if (a.kind == number) == (b.kind == number) || a.missing() == 0 || !t.turns(a, b) {
			continue
		}
		for k, r := range t.rows {
			if a.at[k] < 0 {
				a.at[k] = b.at[k]
			}
			r.tokens[a.at[k]].kind = word
		}
		for text, n := range b.counts {
			a.counts[text] += n
		}
		a.kind, a.gap = word, a.gap || b.gap
		t.slots = slices.Delete(t.slots, i+1, i+2)
	}
}

// dropFill takes the same character again and again for what fills the place of a number that a row does not have.
func (t *template) dropFill() {
	for i := 0; i < len(t.slots); i++ {
		if t.slots[i].kind != number || t.slots[i].missing() == 0 {
			continue
		}
		for _, from := range []int{i + 1, i - 1} {
			low, high := from, from // the slots that fill
			for ; low > i && high < len(t.slots) && t.fills(i, high, from); high++ {
			}
			if from < i {
				for high = i; low >= 0 && t.fills(i, low, from); low-- {
				}
				low++
			}
			if high-low > 1 {
				t.slots = slices.Delete(t.slots, low, high)
				i -= map[bool]int{true: high - low}[low < i]
				break
			}
		}
	}
}

// fills reports whether a slot has one character in the rows that lack a number, and nothing in the others; and the same character as another slot.
func (t *template) fills(of, slot, as int) bool {
	s := t.slots[slot]
	if s.kind != punct || len(s.counts) != 1 || !maps.Equal(s.counts, t.slots[as].counts) {
		return false
	}
	for k := range t.rows {
		if (s.at[k] < 0) != (t.slots[of].at[k] >= 0) {
			return false
		}
	}
	return true
}

// turns reports whether each row has a text of one of two slots, and that is one character.
func (t *template) turns(a, b *slot) bool {
	for k, r := range t.rows {
		at := max(a.at[k], b.at[k])
		if (a.at[k] < 0) == (b.at[k] < 0) || len(r.tokens[at].text) != 1 || r.tokens[at].signed {
			return false
		}
	}
	return true
}

const (
	// mostForms bounds the work on lines that have nothing in common.
	mostForms = 150
	// noiseCost is what a rare form may cost: two words that are new.
	noiseCost = 2.1
)

// adds reports whether a path needs a new slot.
func adds(path []step) bool {
	for _, p := range path {
		if p.slot < 0 {
			return true
		}
	}
	return false
}

// step is one step of fitting tokens into slots: a token in a slot, a slot without a token
// (token < 0), or a token without a slot (slot < 0).
type step struct{ slot, token int }

// fit returns the cheapest way to lay tokens on the slots. Of ways that cost the same it returns the one that uses the
// last slots, or with early the first ones.
func (t *template) fit(tokens []token, early bool) (path []step, cost float64) {
	n, m := len(t.slots), len(tokens)
	width := m + 1
	costs, from := make([]float64, (n+1)*width), make([]byte, (n+1)*width)
	slot, at := func(i int) int { return i - 1 }, func(j int) int { return j - 1 }
	if early { // from the end to the beginning
		slot, at = func(i int) int { return n - i }, func(j int) int { return m - j }
	}
	for i := 0; i <= n; i++ {
		for j := 0; j <= m; j++ {
			if i == 0 && j == 0 {
				continue
			}
			best, how := 1e9, byte(0)
			if i > 0 && j > 0 {
				best, how = costs[(i-1)*width+j-1]+t.slots[slot(i)].cost(tokens[at(j)]), 'b'
			}
			if i > 0 {
				if c := costs[(i-1)*width+j] + missingCost(t.slots[slot(i)].kind); c < best {
					best, how = c, 's'
				}
			}
			if j > 0 {
				if c := costs[i*width+j-1] + missingCost(tokens[at(j)].kind); c < best {
					best, how = c, 't'
				}
			}
			costs[i*width+j], from[i*width+j] = best, how
		}
	}
	for i, j := n, m; i > 0 || j > 0; {
		switch from[i*width+j] {
		case 'b':
			path = append(path, step{slot(i), at(j)})
			i, j = i-1, j-1
		case 's':
			path = append(path, step{slot(i), -1})
			i--
		default:
			path = append(path, step{-1, at(j)})
			j--
		}
	}
	if !early {
		slices.Reverse(path)
	}
	return path, costs[n*width+m]
}

func missingCost(k kind) float64 {
	if k == number {
		return 2.5
	}
	return 1
}

// cost is what it costs to take a token for one of the slot's.
func (s *slot) cost(t token) float64 {
	switch {
	case s.kind == number && t.kind == number:
		return 0
	case s.kind == number || t.kind == number:
		return 5
	case s.counts[t.text] > 0:
		return 0
	case isUnit(t.text) && s.units():
		return 0.3
	case isUnit(t.text) != s.units():
		return 1.9
	case s.kind == t.kind:
		return 1
	}
	return 1.6
}

// add makes slots for the tokens of a path that have none, and renumbers the path.
func (t *template) add(path []step, tokens []token) {
	var slots []*slot
	for k := range path {
		if path[k].slot < 0 {
			s := &slot{kind: tokens[path[k].token].kind, counts: map[string]int{}}
			for range t.rows {
				s.at = append(s.at, -1)
			}
			slots = append(slots, s)
		} else {
			slots = append(slots, t.slots[path[k].slot])
		}
		path[k].slot = len(slots) - 1
	}
	t.slots = slots
}

// put adds a row whose tokens lie on the slots as in the path.
func (t *template) put(r row, path []step) {
	t.rows = append(t.rows, r)
	for _, p := range path {
		s := t.slots[p.slot]
		s.at = append(s.at, p.token)
		if p.token < 0 {
			continue
		}
		token := r.tokens[p.token]
		s.gap = s.gap || token.gap
		if s.kind != number || len(token.text) == 1 {
			s.counts[token.text]++
		}
	}
}

// order returns the indices of the rows in the order in which their lines came.
func (t *template) order() []int {
	list := make([]int, len(t.rows))
	for i := range list {
		list[i] = i
	}
	sort.SliceStable(list, func(a, b int) bool { return t.rows[list[a]].n < t.rows[list[b]].n })
	return list
}
