package page

import (
	"bytes"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

// helpPage is the page that explains the alarms and the figures. Each explanation has an anchor: an
// alarm its name, and a figure a name of explained. The page follows no stream and runs no script.
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

// addHelp adds the page /help.
func (b *built) addHelp(from fs.FS) error {
	t, err := b.template(from, helpPage)
	if err != nil {
		return err
	}
	data := struct {
		document
		Figures []explanation
		Alarms  []alarmHelp
	}{document: helpPage}
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
