package page

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"

	"potlifed/daemon/chart"
	"potlifed/daemon/view"
	"potlifed/daemon/web/label"
	"potlifed/daemon/words"
)

// document is one page: what it has in its folder, and what the frame that all pages have in
// common needs to know of it.
type document struct {
	At     string // its path; see batchPage
	Listed bool   // in the list of pages that each page leads to
	// Folder has its page.html and main.js. The catalogue has its name, its title and the name
	// of SkipTo under "page." and the folder.
	Folder string
	Styles []string // in their order
	SkipTo string   // the id of what a keyboard may go to at once
	Still  bool     // it runs no script
	Alarms bool     // whether it shows alarms, and so counts them in its head
}

var documents = []document{
	{
		At: "/", Listed: true, Folder: "bench",
		Styles: []string{"lib/base.css", "lib/chart.css", "lib/picture.css", "bench/bench.css", "lib/dialogs.css", "parts/panels.css", "bench/stage.css"}, SkipTo: "bench", Alarms: true,
	},
	{
		At: "/presses", Listed: true, Folder: "presses",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/dialogs.css", "presses/board.css", "presses/defects.css"}, SkipTo: "board", Alarms: true,
	},
	{
		At: wallPage, Folder: "wall",
		Styles: []string{"lib/base.css", "parts/panels.css", "wall/wall.css"}, SkipTo: "wall",
	},
	{
		At: "/cans", Listed: true, Folder: "cans",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/dialogs.css", "parts/history.css", "cans/cans.css"}, SkipTo: "cans",
	},
	{
		At: "/closed", Listed: true, Folder: "closed",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/dialogs.css", "parts/history.css", "closed/closed.css"}, SkipTo: "closed",
	},
	{
		At: "/study", Listed: true, Folder: "study",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/chart.css", "lib/picture.css", "study/study.css"}, SkipTo: "study",
	},
	{
		At: "/devices", Listed: true, Folder: "devices",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/dialogs.css", "lib/chart.css", "lib/picture.css", "devices/devices.css"}, SkipTo: "verdict", Alarms: true,
	},
	{
		At: batchPage, Folder: "batch",
		Styles: []string{"lib/base.css", "parts/panels.css", "lib/dialogs.css", "parts/history.css", "lib/chart.css", "lib/picture.css", "batch/batch.css"}, SkipTo: "batch",
	},
}

// labelPage is the page of a label. It is made for each label, and follows no stream.
var labelPage = document{Folder: "label", Styles: []string{"lib/base.css", "label/label.css"}}

// Class is the class of the page's body.
func (d document) Class() string { return d.Folder + "-page" }

// Places are the pages that each page leads to.
func (document) Places() (named []document) {
	for _, d := range documents {
		if d.Listed {
			named = append(named, d)
		}
	}
	return named
}

// built holds everything that is served.
type built struct {
	locale words.Locale
	assets *assets
	pages  map[string]content // by path
	shell  []string           // the paths that the service worker keeps
	label  *template.Template
}

func build(from fs.FS, l words.Locale) (*built, error) {
	texts, err := l.ForPages()
	if err != nil {
		return nil, err
	}
	a, err := newAssets(from, map[string][]byte{"lib/texts.js": texts, "lib/chart.css": []byte(chart.Style)})
	if err != nil {
		return nil, err
	}
	b := &built{locale: l, assets: a, pages: map[string]content{}}
	for _, d := range documents {
		t, err := b.template(from, d)
		if err != nil {
			return nil, err
		}
		var out bytes.Buffer
		if err := t.Execute(&out, d); err != nil {
			return nil, fmt.Errorf("%s: %w", d.Folder, err)
		}
		b.pages[d.At] = newContent(a.packer, out.Bytes(), "text/html; charset=utf-8", false)
	}
	if b.label, err = b.template(from, labelPage); err != nil {
		return nil, err
	}
	if err := b.addHelp(from); err != nil {
		return nil, err
	}
	if err := b.addApp(from); err != nil {
		return nil, err
	}
	a.forget()
	return b, nil
}

// template puts a page's own parts into the frame. Its functions give the paths that files are
// served at.
func (b *built) template(from fs.FS, d document) (*template.Template, error) {
	style, err := b.assets.style(d.Folder, d.Styles)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.Folder, err)
	}
	functions := template.FuncMap{
		"asset": func(name string) (string, error) {
			if at, ok := b.assets.paths[name]; ok {
				return at, nil
			}
			return "", fmt.Errorf("there is no file %s", name)
		},
		"style":    func() string { return style },
		"scripts":  func() []string { return b.assets.scripts(d.Folder + "/main.js") },
		"say":      b.locale.Say,
		"language": b.locale.Code,
	}
	t, err := template.New("frame.html").Funcs(functions).ParseFS(from, "frame.html", d.Folder+"/page.html")
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.Folder, err)
	}
	return t, nil
}

// Label returns an HTML page with the label l, for printing, and with links to the safety data
// sheets of what is in the cup. If there is no label, why says the reason; the page then shows it,
// and of l only Batch is used. Otherwise why is empty. The error is that of the template.
func (p *Pages) Label(l label.Label, why string, sheets []view.SafetySheet) ([]byte, error) {
	var out bytes.Buffer
	err := p.site.label.ExecuteTemplate(&out, "label", struct {
		document
		label.Label
		Why    string
		Sheets []view.SafetySheet
	}{labelPage, l, why, sheets})
	return out.Bytes(), err
}

// Refused returns an HTML page in place of one that cannot be shown: text says why and what to do, and raw is
// what the one who mends it needs. The error is that of the template.
func (p *Pages) Refused(text, raw string) ([]byte, error) {
	var out bytes.Buffer
	err := p.site.label.ExecuteTemplate(&out, "refused", struct {
		document
		Text, Raw string
	}{labelPage, text, raw})
	return out.Bytes(), err
}
