package words

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// use is one place where a text is said.
type use struct {
	at    string
	key   *regexp.Regexp // a pattern where a part of the key is a value
	names []string       // of the placeholders that are filled; nil when the type checker looks
}

// families are the sections whose keys are the fixed words of a type, which [Locale] puts together.
var families = []string{"part.", "step.", "refusal-kind.", "reason.", "reason-mix.", "can-note.", "assumes.", "warning.can-", "refusal.can-exp"}

// TestTextsAndTheirUsesAgree: a key that is used exists, a key that exists is used, and every
// placeholder is filled.
func TestTextsAndTheirUsesAgree(t *testing.T) {
	uses := append(usesInGo(t), usesOnPages(t)...)
	en := English()
	said := map[string]bool{}
	for _, u := range uses {
		found := false
		for key, text := range en.texts {
			if !u.key.MatchString(key) {
				continue
			}
			found, said[key] = true, true
			if u.names != nil && !slices.Equal(u.names, placeholders(text)) {
				t.Errorf("%s: %s has the placeholders %v; filled are %v", u.at, key, placeholders(text), u.names)
			}
		}
		if !found {
			t.Errorf("%s: no text has a key like %s", u.at, u.key)
		}
	}
	quoted := quotedOnPages(t)
	for key := range en.texts {
		family := slices.ContainsFunc(families, func(f string) bool { return strings.HasPrefix(key, f) })
		if key != last && !said[key] && !quoted[key] && !family {
			t.Errorf("%s is never used: take it out", key)
		}
	}
}

const root = "../.."

// usesInGo returns the calls of Say with their keys.
func usesInGo(t *testing.T) (uses []use) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root {
			return filepath.SkipDir
		}
		if filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		b, err := os.ReadFile(path)
		if err != nil || path == root+"/daemon/words/locale.go" || path == root+"/daemon/words/message.go" {
			return err // these two take keys and values from elsewhere
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, path, b, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			args, section := saidBy(call)
			if len(args) == 0 {
				return true
			}
			u, err := useOf(call, args, section)
			if err != nil {
				t.Errorf("%s: %v", set.Position(call.Pos()), err)
				return true
			}
			u.at = set.Position(call.Pos()).String()
			uses = append(uses, u)
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return uses
}

// saidBy returns the key of a call that says a text, and the names and values after it; none for
// any other call. The packages of the model say texts by messages, in a section of their own.
func saidBy(call *ast.CallExpr) (args []ast.Expr, section string) {
	switch f := call.Fun.(type) {
	case *ast.SelectorExpr:
		switch f.Sel.Name {
		case "Say":
			return call.Args, ""
		case "Saying":
			return call.Args, "refusal."
		}
	case *ast.Ident:
		switch {
		case f.Name == "stepError" && len(call.Args) > 1:
			return call.Args[1:], "step-refusal."
		case f.Name == "warn":
			return call.Args, "warning."
		}
	}
	return nil, ""
}

// useOf reads a call that says a text. Its key is a literal, or literals and values joined by +.
func useOf(call *ast.CallExpr, args []ast.Expr, section string) (u use, err error) {
	pattern, literal := patternOf(args[0])
	if !literal {
		return u, fmt.Errorf("the key of Say begins with no literal")
	}
	u.key = regexp.MustCompile("^" + regexp.QuoteMeta(section) + pattern + "$")
	if call.Ellipsis.IsValid() {
		return u, nil
	}
	u.names = []string{}
	for i := 1; i < len(args); i += 2 {
		name, ok := stringOf(args[i])
		if !ok || i+1 == len(args) {
			return u, fmt.Errorf("a text takes the name of a placeholder, written out, and its value")
		}
		u.names = append(u.names, name)
	}
	slices.Sort(u.names)
	return u, nil
}

// patternOf returns the pattern of the keys that an expression may be. literal reports whether it
// begins with a literal.
func patternOf(e ast.Expr) (pattern string, literal bool) {
	if text, ok := stringOf(e); ok {
		return regexp.QuoteMeta(text), true
	}
	if sum, ok := e.(*ast.BinaryExpr); ok && sum.Op == token.ADD {
		left, literal := patternOf(sum.X)
		right, _ := patternOf(sum.Y)
		return left + right, literal
	}
	return `[a-z0-9-]+`, false
}

func stringOf(e ast.Expr) (string, bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(lit.Value)
	return text, err == nil
}

var (
	// saidOnPages finds say with a key in a module, and in a template of a page.
	saidOnPages = regexp.MustCompile("\\bsay\\(\\s*([\"`])([a-z][^\"`]*)[\"`]")
	inTemplates = regexp.MustCompile(`\bsay "([^"]+)"`)
	printed     = regexp.MustCompile(`\bsay \(print ([^)]*)\)`)
	inserted    = regexp.MustCompile(`\$\{[^}]*\}`)
	part        = regexp.MustCompile(`"([^"]*)"|\S+`)
	quotedKey   = regexp.MustCompile("[\"`]([a-z][a-z0-9-]*(?:\\.(?:[a-z0-9][a-z0-9-]*|\\$\\{[^}]*\\}))+)[\"`]")
)

// onPages calls fn for each module and template of the pages.
func onPages(t *testing.T, fn func(path, body string)) {
	t.Helper()
	err := filepath.WalkDir(root+"/daemon", func(path string, d fs.DirEntry, err error) error {
		if ext := filepath.Ext(path); err != nil || d.IsDir() || ext != ".js" && ext != ".html" && ext != ".tmpl" {
			return err
		}
		b, err := os.ReadFile(path)
		if err == nil {
			fn(path, string(b))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// usesOnPages returns what templates and modules say. The type checker looks at the placeholders
// of the modules; a template fills none.
func usesOnPages(t *testing.T) (uses []use) {
	t.Helper()
	onPages(t, func(path, body string) {
		if filepath.Ext(path) == ".js" {
			for _, m := range saidOnPages.FindAllStringSubmatch(body, -1) {
				uses = append(uses, use{at: path, key: inModule(m[2])})
			}
			return
		}
		for _, m := range inTemplates.FindAllStringSubmatch(body, -1) {
			uses = append(uses, use{at: path, key: regexp.MustCompile("^" + regexp.QuoteMeta(m[1]) + "$")})
		}
		for _, m := range printed.FindAllStringSubmatch(body, -1) {
			pattern := ""
			for _, p := range part.FindAllStringSubmatch(m[1], -1) {
				if p[1] != "" {
					pattern += regexp.QuoteMeta(p[1])
				} else {
					pattern += `[a-z0-9-]+`
				}
			}
			uses = append(uses, use{at: path, key: regexp.MustCompile("^" + pattern + "$")})
		}
	})
	return uses
}

// inModule returns the pattern of a key as a module writes it.
func inModule(key string) *regexp.Regexp {
	parts := inserted.Split(key, -1)
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return regexp.MustCompile("^" + strings.Join(parts, "[a-z0-9-]+") + "$")
}

// quotedOnPages returns the keys that modules have as strings, as in a table of keys. The type
// checker sees that they exist.
func quotedOnPages(t *testing.T) map[string]bool {
	t.Helper()
	quoted := map[string]bool{}
	onPages(t, func(path, body string) {
		if filepath.Ext(path) != ".js" {
			return
		}
		for _, m := range quotedKey.FindAllStringSubmatch(body, -1) {
			key := inModule(m[1])
			for k := range English().texts {
				if key.MatchString(k) {
					quoted[k] = true
				}
			}
		}
	})
	return quoted
}
