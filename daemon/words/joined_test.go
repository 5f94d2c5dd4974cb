package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
)

// TestTheBenchWordsNothingItself: what the bench tells people, such as the text of an alarm or the cause of a
// fault, is a text of the catalogue. No text is joined to words that are written out in the code, and no cause
// of an alarm is given as such.
func TestTheBenchWordsNothingItself(t *testing.T) {
	wordy := func(e ast.Expr) bool {
		text, ok := stringOf(e)
		return ok && strings.ContainsFunc(text, unicode.IsLetter)
	}
	says := func(e ast.Expr) (found bool) {
		ast.Inspect(e, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "Say" {
				found = true
			}
			return false
		})
		return found
	}
	causes := 0
	for _, dir := range []string{"bench", "view", "web", "report", "figures", "study", "web/label"} {
		files, err := filepath.Glob(filepath.Join(root, "daemon", dir, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %v", dir, err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			set := token.NewFileSet()
			f, err := parser.ParseFile(set, path, b, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.BinaryExpr:
					if n.Op == token.ADD && (wordy(n.X) && says(n.Y) || wordy(n.Y) && says(n.X)) {
						t.Errorf("%s: a text of the catalogue is joined to words", set.Position(n.Pos()))
					}
				case *ast.CallExpr:
					sel, ok := n.Fun.(*ast.SelectorExpr)
					if !ok {
						return true
					}
					switch sel.Sel.Name {
					case "holds", "holdsMore", "cannotBeSeen":
						causes++
						if len(n.Args) == 3 && (wordy(n.Args[2]) || says(n.Args[2]) && !isSay(n.Args[2])) {
							t.Errorf("%s: the cause of an alarm is not one text of the catalogue", set.Position(n.Pos()))
						}
					case "Sprintf", "Sprint":
						for _, arg := range n.Args[1:] {
							if says(arg) && wordy(n.Args[0]) && strings.ContainsFunc(withoutVerbs(n.Args[0]), unicode.IsLetter) {
								t.Errorf("%s: a text of the catalogue is put into words", set.Position(n.Pos()))
							}
						}
					}
				case *ast.CompositeLit:
					if of, ok := n.Type.(*ast.Ident); ok && of.Name == "trouble" && len(n.Elts) > 0 && wordy(n.Elts[0]) {
						t.Errorf("%s: the cause of an alarm is written out in the code", set.Position(n.Pos()))
					}
				case *ast.KeyValueExpr:
					if key, ok := n.Key.(*ast.Ident); ok && key.Name == "text" && wordy(n.Value) {
						t.Errorf("%s: a text is written out in the code", set.Position(n.Pos()))
					}
				}
				return true
			})
		}
	}
	if causes < 20 {
		t.Errorf("only %d causes of alarms were found", causes)
	}
}

func isSay(e ast.Expr) bool {
	call, ok := e.(*ast.CallExpr)
	if !ok {
		return false
	}
	f, ok := call.Fun.(*ast.SelectorExpr)
	return ok && f.Sel.Name == "Say"
}

// withoutVerbs returns a format without its verbs.
func withoutVerbs(e ast.Expr) string {
	format, _ := stringOf(e)
	for _, verb := range []string{"%s", "%d", "%v", "%q", "%w"} {
		format = strings.ReplaceAll(format, verb, "")
	}
	return format
}
