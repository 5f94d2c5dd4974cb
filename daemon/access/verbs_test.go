package access

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestEveryVerbNeedsARight walks over the verbs of all changes there are, as they are
// written in package request: a new one is not left to the default.
func TestEveryVerbNeedsARight(t *testing.T) {
	files, err := filepath.Glob("../request/*.go")
	if err != nil {
		t.Fatal(err)
	}
	var verbs []string
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if verb, ok := verbOf(d); ok {
				verbs = append(verbs, verb)
			}
		}
	}
	if len(verbs) < 20 || !slices.Contains(verbs, "prints") {
		t.Fatalf("only %d verbs were found: %v", len(verbs), verbs)
	}
	for _, verb := range verbs {
		if _, ok := needs[verb]; !ok {
			t.Errorf("the verb %q has no right; enter it in needs", verb)
		}
	}
	if Needs("no-such-verb") != Configure || Needs("") != Configure {
		t.Error("an unknown verb does not need the highest right")
	}
	for verb, right := range needs {
		if !slices.Contains(Rights(), right) {
			t.Errorf("%s needs %q, which is no right", verb, right)
		}
	}
}

// verbOf reads the word that a method Verb returns.
func verbOf(d ast.Decl) (string, bool) {
	f, ok := d.(*ast.FuncDecl)
	if !ok || f.Recv == nil || f.Name.Name != "Verb" || len(f.Body.List) != 1 {
		return "", false
	}
	r, ok := f.Body.List[0].(*ast.ReturnStmt)
	if !ok || len(r.Results) != 1 {
		return "", false
	}
	word, ok := r.Results[0].(*ast.BasicLit)
	if !ok {
		return "", false
	}
	verb, err := strconv.Unquote(word.Value)
	return verb, err == nil
}
