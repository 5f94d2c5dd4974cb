package page

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
)

// A page's own parts stand in its file under pages; what all of them have in common is
// frame.html. They are put together once, when the program starts.
//
//go:embed pages/*.html
var pages embed.FS

// document is one page as its frame wants it.
type document struct {
	At     string // its path; see batchPage
	Name   string // in the list of pages; empty for one that is not in it
	Title  string
	File   string
	Class  string
	Styles []string // in their order
	Script string
	SkipTo string // the id of what a keyboard may go to at once
	Skip   string // and its name
	Alarms bool   // whether it shows alarms, and so counts them in its head
}

var documents = []document{
	{
		At: "/", Name: "Bench", Title: "the mixing bench", File: "bench.html", Class: "bench-page",
		Styles: []string{"base", "bench", "dialogs", "panels"}, Script: "bench-main", SkipTo: "bench", Skip: "To the bench", Alarms: true,
	},
	{
		At: "/presses", Name: "Presses", Title: "the presses", File: "presses.html", Class: "presses-page",
		Styles: []string{"base", "panels", "dialogs", "board"}, Script: "presses-main", SkipTo: "board", Skip: "To the presses", Alarms: true,
	},
	{
		At: "/cans", Name: "Cans", Title: "cans, lots and waste", File: "cans.html", Class: "cans-page",
		Styles: []string{"base", "panels", "dialogs", "cans"}, Script: "cans-main", SkipTo: "cans", Skip: "To the cans",
	},
	{
		At: "/devices", Name: "Devices", Title: "the devices", File: "devices.html", Class: "devices-page",
		Styles: []string{"base", "panels", "dialogs", "devices"}, Script: "devices-main", SkipTo: "verdict", Skip: "To what is wrong", Alarms: true,
	},
	{
		At: batchPage, Title: "a batch", File: "batch.html", Class: "batch-page",
		Styles: []string{"base", "panels", "cans"}, Script: "batch-main", SkipTo: "batch", Skip: "To the batch",
	},
}

// Places are the pages that each page leads to.
func (document) Places() (named []document) {
	for _, d := range documents {
		if d.Name != "" {
			named = append(named, d)
		}
	}
	return named
}

// html puts a page together. That it can be is certain once the tests have passed, so a
// failure is a fault of the program.
func (d document) html() []byte {
	var out bytes.Buffer
	t, err := template.ParseFS(pages, "pages/frame.html", "pages/"+d.File)
	if err == nil {
		err = t.Execute(&out, d)
	}
	if err != nil {
		panic(fmt.Sprintf("page: %s: %v", d.File, err))
	}
	return out.Bytes()
}
