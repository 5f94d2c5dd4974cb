package page

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"potlifed/daemon/words"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// helpPage is the page that explains the lights, the alarms and the figures. Each explanation has an anchor:
// a light "light-" and its meaning, an alarm its name, and a figure a name of explained. The page follows no stream and runs no script.
var helpPage = document{At: "/help", Folder: "help", Styles: []string{"lib/base.css", "help/help.css"}, Still: true}

// explained are the anchors of what the pages' figures mean.
var explained = []string{"band", "risk", "spent", "assumed", "at-least", "uncertain", "solid"}

// explanation is what the help says of a figure.
type explanation struct{ Name, Title, Text string }

// alarmHelp is what the help says of an alarm.
type alarmHelp struct {
	Name, Priority string
	words.Alarm
}

// lightHelp is what the help says of a meaning of the lights.
type lightHelp struct {
	Meaning               light.Meaning
	Sign                  template.HTML // drawn as on the pages
	Colour, Shape, Steady string
	Words                 string // that a page may show with it
	When, Do              string
}

// signs are the drawings of lib/signs.js, for a page without a script.
var signs = map[light.Meaning]template.HTML{
	light.DoNotPrint: `<path class="body" d="M15 3h18l12 12v18L33 45H15L3 33V15z"/><path class="mark" d="M13 24h22"/>`,
	light.Unknown:    `<path class="body" d="M24 2l22 22-22 22L2 24z"/><path class="mark" d="M18.5 19.5a5.5 5.5 0 1 1 8 5c-2 1-2.5 2-2.5 4M24 33.5v.5"/>`,
	light.Act:        `<path class="body" d="M5 5h38v38H5z"/><path class="mark" d="M14 24h19M25 15l9 9-9 9"/>`,
	light.Soon:       `<path class="body" d="M24 4l21 38H3z"/><path class="mark" d="M24 18v11M24 35v.5"/>`,
	light.InOrder:    `<circle class="body" cx="24" cy="24" r="20"/><path class="mark" d="M15 25l6 6 12-13"/>`,
	light.Empty:      `<circle class="body" cx="24" cy="24" r="18"/>`,
}

// ownWords are the causes for which a page shows words of their own in place of the meaning's.
var ownWords = map[light.Meaning][]light.Cause{
	light.Act:  {light.PrintingWithoutBatch, light.MixReady, light.OlderPartGoneOff},
	light.Soon: {light.AgeUncertain},
}

// lights returns the help of every meaning, the most urgent first.
func (b *built) lights() []lightHelp {
	var all []lightHelp
	for _, m := range light.Meanings() {
		texts := []string{b.locale.Say("meaning." + string(m))}
		if m == light.Soon {
			texts = append(texts, b.locale.Say("meaning.soon-past"))
		}
		for _, c := range ownWords[m] {
			texts = append(texts, b.locale.Say("cause."+string(c)))
		}
		steady := b.locale.Say("help.light.steady")
		if m.AlwaysFlashes() {
			steady = b.locale.Say("help.light.flashes")
		}
		all = append(all, lightHelp{
			Meaning: m, Sign: `<svg class="sign ` + template.HTML(m.Colour()) + `" viewBox="0 0 48 48" aria-hidden="true">` + signs[m] + `</svg>`,
			Colour: b.locale.Say("help.light.colour." + m.Colour()), Shape: b.locale.Say("help.light." + string(m) + ".shape"), Steady: steady,
			Words: strings.Join(texts, ", "), When: b.locale.Say("help.light." + string(m) + ".when"), Do: b.locale.Say("help.light." + string(m) + ".do"),
		})
	}
	return all
}

// task is what the help says of how something is done.
type task struct {
	Title string
	Steps []string
}

// tasks returns how to mix, to change a cup and to close a batch, in five lines each.
func (b *built) tasks() []task {
	labels := []any{"start", b.locale.Say("bench.start-this"), "load", b.locale.Say("use.load"), "on", b.locale.Say("load.on"), "close", b.locale.Say("use.close"), "it", b.locale.Say("close.it"), "soon", b.locale.Say("meaning.soon")}
	var all []task
	for _, name := range []string{"mix", "change", "close"} {
		t := task{Title: b.locale.Say("help.task." + name + ".title")}
		for n := range 5 {
			t.Steps = append(t.Steps, b.locale.Say("help.task."+name+"."+strconv.Itoa(n+1), labels...))
		}
		all = append(all, t)
	}
	return all
}

// addHelp adds the page /help.
func (b *built) addHelp(from fs.FS) error {
	t, err := b.template(from, helpPage)
	if err != nil {
		return err
	}
	data := struct {
		document
		Lights  []lightHelp
		Tasks   []task
		Figures []explanation
		Alarms  []alarmHelp
	}{document: helpPage, Lights: b.lights(), Tasks: b.tasks()}
	for _, name := range explained {
		data.Figures = append(data.Figures, explanation{name, b.locale.Say("help.figure." + name + ".title"), b.locale.Say("help.figure." + name + ".text")})
	}
	for _, d := range alarm.Definitions() {
		data.Alarms = append(data.Alarms, alarmHelp{d.Name, b.locale.Say("help.priority." + string(d.Priority)), b.locale.Alarm(d.Name)})
	}
	slices.SortFunc(data.Alarms, func(a, b alarmHelp) int { return strings.Compare(a.Title, b.Title) })
	var out bytes.Buffer
	if err := t.ExecuteTemplate(&out, "help", data); err != nil {
		return fmt.Errorf("%s: %w", helpPage.Folder, err)
	}
	b.pages[helpPage.At] = newContent(b.assets.packer, out.Bytes(), "text/html; charset=utf-8", false)
	return nil
}
