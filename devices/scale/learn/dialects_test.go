package learn

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

// dialect is a made-up scale of testdata/dialects; README.txt there tells the form of a file.
type dialect struct {
	name, form, ending, unit string
	lines                    []string
	answers                  []float64 // in g, NaN where a line has no weight
	stable                   []string  // s, m, ? or -
	decimals                 int       // of the answers
}

func readDialect(t *testing.T, path string) dialect {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d := dialect{name: strings.TrimSuffix(filepath.Base(path), ".txt")}
	for line := range strings.SplitSeq(strings.TrimSuffix(string(content), "\n"), "\n") {
		header, isHeader := strings.CutPrefix(line, "# ")
		name, value, _ := strings.Cut(header, ": ")
		switch {
		case !isHeader:
			raw, err := strconv.Unquote(`"` + strings.ReplaceAll(line, `"`, `\"`) + `"`)
			if err != nil {
				t.Fatalf("%s: %q: %v", path, line, err)
			}
			d.lines = append(d.lines, raw)
		case name == "form":
			d.form = value
		case name == "unit":
			d.unit = value
		case name == "ending":
			d.ending = map[string]string{"CRLF": "\r\n", "CR": "\r", "LF": "\n"}[value]
		case name == "stable":
			d.stable = append(d.stable, strings.Fields(value)...)
		case name == "answer":
			for text := range strings.FieldsSeq(value) {
				g, err := strconv.ParseFloat(text, 64)
				if err != nil {
					g = math.NaN()
				}
				d.answers = append(d.answers, g)
				if _, decimals, ok := strings.Cut(text, "."); ok {
					d.decimals = len(decimals)
				}
			}
		}
	}
	if len(d.lines) == 0 || len(d.answers) != len(d.lines) || len(d.stable) != len(d.lines) || d.ending == "" {
		t.Fatalf("%s: %d lines, %d answers, %d marks, ending %q", path, len(d.lines), len(d.answers), len(d.stable), d.ending)
	}
	return d
}

// sent is what the scale sends, from the end of a line on.
func (d dialect) sent() []byte {
	return []byte(d.ending + strings.Join(d.lines, d.ending) + d.ending)
}

// hint is what the person tells: where the lines state no unit, listen --learn asks for what the display
// showed with the most on the pan.
func (d dialect) hint() Hint {
	if strings.Contains(d.unit, "not sent") {
		return Hint{ShownG: d.most()}
	}
	return Hint{}
}

// most is the largest weight that the display showed, in g.
func (d dialect) most() (g float64) {
	for _, a := range d.answers {
		if a > g { // not NaN, which stands for a line without a weight
			g = a
		}
	}
	return g
}

// faults returns where the readings of a proposal differ from what a person would read.
func (d dialect) faults(p Proposal) (faults []string) {
	shape, err := scale.ParseShape(p.Line)
	if err != nil {
		return []string{err.Error()}
	}
	fault := func(i int, format string, args ...any) {
		faults = append(faults, fmt.Sprintf("line %d %q: ", i+1, d.lines[i])+fmt.Sprintf(format, args...))
	}
	halfDigitG := 0.5001 * math.Pow10(-d.decimals)
	decoder := scale.NewDecoder(shape)
	decoder.Feed([]byte(d.ending), func([]byte, weigh.Reading, error) {})
	for i, line := range d.lines {
		var r weigh.Reading
		var cause error
		decoder.Feed([]byte(line+d.ending), func(_ []byte, got weigh.Reading, err error) {
			if r.HasWeight {
				fault(i, "gives two readings")
			}
			r, cause = got, err
		})
		want, told := d.answers[i], d.stable[i]
		switch {
		case math.IsNaN(want):
			if cause == nil && r.HasWeight {
				fault(i, "%v g, and it has no weight", r.Grams)
			}
			continue
		case cause != nil:
			fault(i, "%v", cause)
			continue
		case !r.HasWeight && r.Stability == weigh.Moving && saysOfUnit(p):
			continue // the unit of a moving weight is in doubt
		case !r.HasWeight || math.Abs(r.Grams-want) > halfDigitG:
			fault(i, "%+v, want %v g", r, want)
		}
		if told == "s" && r.Stability == weigh.Moving || told == "m" && r.Stability == weigh.Stable {
			fault(i, "%+v, want %s", r, told)
		}
	}
	return faults
}

// saysOfUnit reports whether a proposal says that lines without a unit may give no weight.
func saysOfUnit(p Proposal) bool {
	return strings.Contains(strings.Join(p.Reasons, " "), "no weight until a line states its unit")
}

func sevenBits(line []byte) []byte {
	for i := range line {
		line[i] &= 0x7f
	}
	return line
}

// judged is the outcome of learning one dialect.
func (d dialect) judged() (outcome string, p Proposal, faults []string) {
	sent := d.sent()
	// Package probe listens again in the frame of seven bits that it has seen, where bit 7 is cleared.
	if frame := FrameOf(sent); frame == "7E1" || frame == "7O1" {
		sent = sevenBits(sent)
		for i, l := range d.lines {
			d.lines[i] = string(sevenBits([]byte(l)))
		}
	}
	p = Infer(Split(sent), d.hint())
	if p.Certainty == Unsure && strings.Contains(strings.Join(p.Reasons, " "), "--shown-g") {
		p = Infer(Split(sent), Hint{ShownG: d.most()})
	}
	if p.Line == "" || p.Certainty == Unsure {
		return "unsure", p, nil
	}
	if faults = d.faults(p); len(faults) > 0 {
		return "wrong", p, faults
	}
	return "right", p, nil
}

// tried gives the score of the learner on the dialects of a folder.
func tried(t *testing.T, folder string) (right, unsure, wrong int) {
	paths, _ := filepath.Glob("../../../testdata/" + folder + "/*.txt")
	for _, path := range paths {
		if filepath.Base(path) == "README.txt" {
			continue
		}
		d := readDialect(t, path)
		outcome, p, faults := d.judged()
		switch outcome {
		case "right":
			right++
		case "unsure":
			unsure++
		default:
			wrong++
		}
		t.Logf("%s: %s: %s, %s %q", d.name, outcome, p.Line, p.Certainty, p.Reasons)
		if len(faults) > 0 {
			t.Logf("  %d faults: %s", len(faults), strings.Join(faults[:min(3, len(faults))], "; "))
		}
	}
	return right, unsure, wrong
}

// TestDialects tries the learner on the scales of testdata/dialects, which were made up by people who had not seen it.
// Each set is new once only: the scores of the first try are in README.txt there. Afterwards the learner was improved,
// in general ways, and reads all of them; so these tests show that it still does, and
// not how it does on others.
func TestDialects(t *testing.T) {
	type score struct{ right, unsure, wrong int }
	for folder, want := range map[string]score{
		"dialects": {right: 20}, "dialects/later": {right: 8}, "dialects/second": {right: 20}, "dialects/third": {right: 20}, "dialects/sixth": {right: 20},
		"dialects/fourth": {right: 20}, "dialects/fifth": {right: 20},
	} {
		t.Run(folder, func(t *testing.T) {
			right, unsure, wrong := tried(t, folder)
			if got := (score{right, unsure, wrong}); got != want {
				t.Errorf("%+v, want %+v", got, want)
			}
		})
	}
}
