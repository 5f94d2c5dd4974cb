package learn

import (
	"errors"
	"fmt"
	"strings"

	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

// enoughWidth is the share of lines that may be refused for their length. They may have lost bytes.
const enoughWidth = 0.03

// ofOneWidth makes a candidate read lines that a minus sign makes longer. A decoder refuses a line that is longer or
// shorter than the others, since it may have lost a digit; where the minus is a mark of its own, lines with it have
// their own length. Where lines are refused all the same, the candidate is in doubt.
func (t *template) ofOneWidth(c chosen, of candidate) candidate {
	refused := t.refusedForWidth(of.line)
	if refused == 0 {
		return of
	}
	if other := t.best(c, []candidate{{line: strings.Replace(of.line, "{sign}", "{minus=-|}", 1), notes: of.notes}}); other.decoded >= of.decoded {
		if n := t.refusedForWidth(other.line); n < refused {
			of, refused = other, n
		}
	}
	if float64(refused) > enoughWidth*float64(len(t.rows)) {
		of.notes = append(of.notes, unsureMark+fmt.Sprintf("%d lines are shorter or longer than those before them and would be refused, since a digit may be missing. Set the scale to a fixed width, if it can be set.", refused))
	}
	return of
}

// refusedForWidth returns how many rows a decoder refuses for their length, in the order in which they came.
func (t *template) refusedForWidth(line string) (n int) {
	shape, err := scale.ParseShape(line)
	if err != nil {
		return 0
	}
	decoder := scale.NewDecoder(shape)
	count := func(_ []byte, _ weigh.Reading, err error) {
		if errors.Is(err, scale.ErrWidth) {
			n++
		}
	}
	decoder.Feed([]byte("\r"), count)
	afterETX := strings.Contains(line, "after-etx")
	for _, i := range t.order() {
		decoder.Feed(t.rows[i].text.framed(afterETX), count)
		decoder.Feed([]byte("\r"), count)
	}
	return n
}
