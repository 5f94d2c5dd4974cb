package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/devices/scale/learn"
	"potlifed/devices/scale/probe"
)

// learning is a scale that is being learned, and the person who helps.
type learning struct {
	o        listenOptions
	out      io.Writer // the proposal
	says     io.Writer // what the person is told meanwhile
	find     probe.Probe
	patience time.Duration // how long the cup is waited for each time
}

// proposed is the answer of listen --learn.
type proposed struct {
	Port      string   `json:"port"`
	Baud      int      `json:"baud,omitempty"`
	Mode      string   `json:"mode,omitempty"`
	Line      string   `json:"line"`
	Request   string   `json:"request,omitempty"`
	DivisionG float64  `json:"division_g,omitempty"`
	Certainty string   `json:"certainty"`
	Reasons   []string `json:"reasons"`
	Lines     int      `json:"lines"`
	Decoded   int      `json:"decoded"`
	LowG      float64  `json:"low_g"`
	HighG     float64  `json:"high_g"`
}

// learnScale finds the settings of a scale and prints the lines for the configuration.
func learnScale(ctx context.Context, o listenOptions, out, says io.Writer) error {
	l := learning{o: o, out: out, says: says, patience: time.Minute}
	if o.duration > 0 {
		l.patience = o.duration / 3
	}
	return l.run(ctx)
}

func (l learning) run(ctx context.Context) error {
	port := l.o.config.Link.Port
	if link.IsHID(port) {
		return l.report(proposed{Port: port, Line: scale.Auto, Certainty: learn.Sure.String(), Reasons: []string{"A scale on hidraw needs no other settings."}})
	}
	fmt.Fprintln(l.says, "Switch the scale on and leave its pan empty. Trying the usual speeds and frames:")
	l.find.Trying = func(what string) { fmt.Fprintln(l.says, "  "+what) }
	found, err := l.find.Find(ctx, port)
	if err != nil {
		err = fmt.Errorf("listen: %w", plainPort(port, err))
		switch advice := link.Advice(err); {
		case errors.Is(err, probe.ErrMute):
			return fmt.Errorf("%w\nIs it switched on, and the cable the right one (crossed or straight)? Set the scale to send continuously; its manual names the menu.", err)
		case errors.Is(err, probe.ErrGarbled):
			return fmt.Errorf("%w\nSet the scale to 9600 8N1 in its menu, and try again.", err)
		case advice != "":
			return fmt.Errorf("%w\n%s", err, advice)
		}
		return err
	}
	fmt.Fprintf(l.says, "Lines come at %d %s%s.\n", found.Settings.Baud, found.Settings.Mode, map[bool]string{true: ", when the scale is asked with " + link.FormatRequest(found.Settings.Request)}[found.Settings.Request != ""])
	lines, err := l.watch(ctx, found.Settings)
	if err != nil {
		return fmt.Errorf("listen: %w", plainPort(port, err))
	}
	p := learn.Infer(lines, learn.Hint{ShownG: l.o.shownG})
	if p.Line == "" {
		for _, line := range lines[max(0, len(lines)-5):] {
			fmt.Fprintf(l.says, "  %q\n", line)
		}
		return fmt.Errorf("listen: no pattern was found that reads these lines: %s", strings.Join(p.Reasons, " "))
	}
	answer := proposed{
		Port: port, Baud: found.Settings.Baud, Mode: found.Settings.Mode, Line: p.Line, Request: link.FormatRequest(found.Settings.Request),
		DivisionG: rounded(division(p, lines)), Certainty: p.Certainty.String(), Reasons: p.Reasons, Lines: p.Lines, Decoded: p.Decoded, LowG: p.LowG, HighG: p.HighG,
	}
	if strings.HasPrefix(port, "tcp://") {
		answer.Baud, answer.Mode = 0, ""
		if found.Settings.Mode[0] == '7' {
			answer.Mode = found.Settings.Mode
		}
	}
	return l.report(answer)
}

// The phases of watching: the pan as it is, with a cup, and empty again.
var phases = []struct{ ask, then string }{
	{"Leave the pan as it is for a moment.", ""},
	{"Put a cup or another weight on the pan, and leave it there.", "The weight is seen."},
	{"Take it off again.", "It is gone."},
}

// watch collects lines while the person puts a cup on and takes it off. A person who does not is not
// waited for longer than patience.
func (l learning) watch(ctx context.Context, s link.Settings) (lines [][]byte, err error) {
	st, err := link.Open(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	asking, stop := context.WithCancel(ctx)
	asker := link.Ask(asking, s, st)
	defer asker.Wait()
	defer stop()
	var received []byte
	baseG, haveBase := 0.0, false
	for i, phase := range phases {
		fmt.Fprintln(l.says, phase.ask)
		began, judged := time.Now(), time.Now()
		for buf := make([]byte, 512); time.Since(began) < l.patience; {
			n, err := st.Read(buf)
			if n > 0 {
				asker.Answered()
				received = append(received, buf[:n]...)
			}
			if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
				return nil, err
			}
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if time.Since(judged) < judgeEvery {
				continue
			}
			judged = time.Now()
			lines = learn.Split(received)
			g, ok := restsAt(lines)
			switch {
			case i == 0 && ok && time.Since(began) >= 3*judgeEvery && len(lines) >= 5:
				baseG, haveBase = g, true
			case i == 1 && ok && haveBase && math.Abs(g-baseG) > leastG:
			case i == 2 && ok && math.Abs(g-baseG) <= leastG && len(lines) > linesToWatch:
			default:
				continue
			}
			if phase.then != "" {
				fmt.Fprintln(l.says, phase.then)
			}
			break
		}
	}
	return learn.Split(received), nil
}

const (
	judgeEvery = 500 * time.Millisecond
	// leastG is the least weight that counts as a cup.
	leastG = 2.0
	// linesToWatch are enough for the learner to be sure.
	linesToWatch = 25
)

// restsAt returns the weight at which the scale rests, if it does.
func restsAt(lines [][]byte) (g float64, ok bool) {
	p := learn.Infer(lines, learn.Hint{})
	seen := 0
	for i := len(lines) - 1; i >= 0 && seen < 3; i-- {
		r, err := p.Decode(lines[i])
		if err != nil || !r.HasWeight {
			continue
		}
		if seen > 0 && math.Abs(r.Grams-g) > leastG/4 {
			return 0, false
		}
		g = r.Grams
		seen++
	}
	return g, seen == 3
}

// enoughWeights are different weights that show whether a scale counts in ones, twos or fives.
const enoughWeights = 8

// division returns the step in which the weights of the lines count, in g: a power of ten, and 2 or 5
// of it where enough different weights agree. It returns 0 when none was seen, as for oz and lb.
func division(p learn.Proposal, lines [][]byte) float64 {
	weights := map[float64]bool{}
	for _, l := range lines {
		if r, err := p.Decode(l); err == nil && r.HasWeight && r.Grams != 0 {
			weights[math.Abs(r.Grams)] = true
		}
	}
	fits := func(step float64) bool {
		for g := range weights {
			if n := g / step; math.Abs(n-math.Round(n)) > 1e-3 {
				return false
			}
		}
		return true
	}
	for power := 1.0; len(weights) > 0 && power > 5e-4; power /= 10 {
		if !fits(power) {
			continue
		}
		for _, n := range []float64{5, 2} {
			if len(weights) >= enoughWeights && fits(n*power) {
				return n * power
			}
		}
		return power
	}
	return 0
}

func rounded(step float64) float64 { return math.Round(step*1e5) / 1e5 }

// report prints the proposal.
func (l learning) report(p proposed) error {
	if l.o.json {
		return json.NewEncoder(l.out).Encode(p)
	}
	fmt.Fprintf(l.out, "Proposal (%s):\n\n", p.Certainty)
	fmt.Fprint(l.out, p.yaml())
	fmt.Fprintln(l.out)
	for _, r := range p.Reasons {
		fmt.Fprintln(l.out, r)
	}
	if p.DivisionG > 0 {
		fmt.Fprintln(l.out, "division_g is the smallest step that was seen; compare it with the scale's plate.")
	}
	if p.Certainty == learn.Unsure.String() {
		fmt.Fprintln(l.out, "Compare the weights with the display before you use this: potlifed listen with these settings shows them.")
	}
	return nil
}

// yaml is the scale as an entry of the configuration's scales.
func (p proposed) yaml() string {
	var b strings.Builder
	fmt.Fprintf(&b, "  - id: scale-1\n    port: %s\n", yamlText(p.Port))
	if p.Baud != 0 {
		fmt.Fprintf(&b, "    baud: %d\n", p.Baud)
	}
	if p.Mode != "" {
		fmt.Fprintf(&b, "    mode: %s\n", p.Mode)
	}
	if p.Line != scale.Auto {
		fmt.Fprintf(&b, "    line: %s\n", yamlText(p.Line))
	}
	if p.Request != "" {
		fmt.Fprintf(&b, "    request: '%s'\n", strings.ReplaceAll(p.Request, "'", "''"))
	}
	if p.DivisionG > 0 {
		fmt.Fprintf(&b, "    division_g: %v\n", p.DivisionG)
	}
	return b.String()
}

// yamlText writes a text for YAML so that it is read as it is: in single quotes unless it is plain.
func yamlText(text string) string {
	for _, c := range text {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.ContainsRune("/-_.", c)) {
			return "'" + strings.ReplaceAll(text, "'", "''") + "'"
		}
	}
	return text
}
