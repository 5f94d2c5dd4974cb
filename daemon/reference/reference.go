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
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	tables "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
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
<nav aria-label="Pages"><a href="/">potlifed</a> <a href="/help">Help</a></nav>
<main>
`)
	convert := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID(), parser.WithASTTransformers(util.Prioritized(headed{}, 500))))
	if err := convert.Convert(markdown, &out); err != nil {
		panic(fmt.Sprintf("reference: %v", err))
	}
	out.WriteString("</main>\n</body>\n</html>\n")
	return out.Bytes()
})

// headed gives each cell of a table the words above its column as data-head: on a phone a row is
// a block without a head, and the style sheet writes them before each cell.
type headed struct{}

// Transform changes the tables of a document. It is called by goldmark.
func (headed) Transform(document *ast.Document, reader text.Reader, _ parser.Context) {
	source := reader.Source()
	var heads [][]byte
	visit := func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		switch n := n.(type) {
		case *tables.TableHeader:
			if entering {
				heads = nil
			}
		case *tables.TableCell:
			if !entering {
				break
			}
			if _, ok := n.Parent().(*tables.TableHeader); ok {
				heads = append(heads, plainText(n, source))
				break
			}
			column := 0
			for before := n.PreviousSibling(); before != nil; before = before.PreviousSibling() {
				column++
			}
			if column > 0 && column < len(heads) { // the first cell names the row
				n.SetAttributeString("data-head", heads[column])
			}
		}
		return ast.WalkContinue, nil
	}
	if err := ast.Walk(document, visit); err != nil {
		panic(fmt.Sprintf("reference: %v", err)) // visit returns no error
	}
}

// plainText returns the text within a node, without its marks.
func plainText(n ast.Node, source []byte) []byte {
	var out []byte
	for child := n.FirstChild(); child != nil; child = child.NextSibling() {
		if t, ok := child.(*ast.Text); ok {
			out = append(out, t.Value(source)...)
		} else {
			out = append(out, plainText(child, source)...)
		}
	}
	return out
}

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
