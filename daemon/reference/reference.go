// Package reference has the reference of potlifed as a page: topics, changes, events,
// alarms, metrics and the configuration. The text is generated from the program's own
// tables into reference.md; a test of this package writes it and keeps it fresh.
package reference

import (
	"bytes"
	_ "embed"
	"fmt"
	"net/http"
	"sync"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
)

//go:embed reference.md
var markdown []byte

//go:embed reference.css
var style []byte

// page is the reference as HTML, made once. That this succeeds is certain once the tests
// have passed, so a failure is a fault of the program.
var page = sync.OnceValue(func() []byte {
	var out bytes.Buffer
	out.WriteString(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<link rel="stylesheet" href="/reference.css">
<title>potlifed: reference</title>
</head>
<body>
<main>
`)
	convert := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	if err := convert.Convert(markdown, &out); err != nil {
		panic(fmt.Sprintf("reference: %v", err))
	}
	out.WriteString("</main>\n</body>\n</html>\n")
	return out.Bytes()
})

// Handler serves the reference at /reference and its style at /reference.css. It is safe
// for concurrent use.
func Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-cache")
		switch r.URL.Path {
		case "/reference":
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Write(page())
		case "/reference.css":
			w.Header().Set("Content-Type", "text/css; charset=utf-8")
			w.Write(style)
		default:
			http.NotFound(w, r)
		}
	})
}
