package page

import (
	"bytes"
	"errors"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
)

// The forms of import and export that the modules use (ECMA-262, 16.2), each at the start of a line.
// Any other form is refused, so that nothing is joined wrongly.
var (
	importForm = regexp.MustCompile(`(?m)^import\s+(?:(\{[^}]*\}|[\w$]+)\s+from\s+)?"(\.\.?/[^"]+)";`)
	passOnForm = regexp.MustCompile(`(?m)^export\s+(\{[^}]*\})\s+from\s+"(\.\.?/[^"]+)";`)
	exportForm = regexp.MustCompile(`(?m)^export\s+((?:async\s+)?function|class|const)\s+(\{[^}]*\}|[\w$]+)`)
	noExport   = regexp.MustCompile(`(?m)^export \{\};`)
	leftForm   = regexp.MustCompile(`(?m)^(?:import|export)\b.*`)
	listedName = regexp.MustCompile(`[\w$]+`)
)

// comment is one that begins a line and ends one. No text of a module or a style goes over several
// lines, so that none can look like a comment.
var comment = regexp.MustCompile(`(?m)^[ \t]*(?://.*|/\*(?:[^*]|\*+[^*/])*\*+/[ \t]*)\n`)

var errManyLines = errors.New("a template literal goes over several lines")

// indent is what a line begins with. As no text goes over several lines, it means nothing.
var indent = regexp.MustCompile(`(?m)^[ \t]+`)

// bare returns a module or a style without indentation and without the comments that have lines of
// their own.
func bare(body []byte) []byte { return indent.ReplaceAll(comment.ReplaceAll(body, nil), nil) }

// module is one of the files that scripts are written in.
type module struct {
	body    []byte   // bare, with each import as the name of a module in its place
	imports []string // names of modules
	exports []string
}

// newModule reads a module.
func newModule(name string, body []byte) (module, error) {
	var m module
	for line := range bytes.Lines(body) {
		if bytes.Count(line, []byte("`"))%2 != 0 {
			return m, fmt.Errorf("%s: %w", name, errManyLines)
		}
	}
	body = bare(body)
	take := func(form *regexp.Regexp, passOn bool) {
		body = form.ReplaceAllFunc(body, func(found []byte) []byte {
			part := form.FindSubmatch(found)
			imported := path.Join(path.Dir(name), string(part[2]))
			if !slices.Contains(m.imports, imported) {
				m.imports = append(m.imports, imported)
			}
			names := string(part[1])
			if passOn {
				m.exports = append(m.exports, listedName.FindAllString(names, -1)...)
			}
			if names != "" && !strings.HasPrefix(names, "{") {
				names = "{ default: " + names + " }"
			}
			if names == "" {
				return nil
			}
			return fmt.Appendf(nil, "const %s = %s;", strings.ReplaceAll(names, " as ", ": "), variable(imported))
		})
	}
	take(importForm, false)
	take(passOnForm, true)
	body = noExport.ReplaceAll(body, nil)
	body = exportForm.ReplaceAllFunc(body, func(found []byte) []byte {
		part := exportForm.FindSubmatch(found)
		m.exports = append(m.exports, listedName.FindAllString(string(part[2]), -1)...)
		return bytes.TrimLeft(bytes.TrimPrefix(found, []byte("export")), " \t")
	})
	if left := leftForm.Find(body); left != nil {
		return m, fmt.Errorf("%s: %q is no form of import or export that can be joined", name, left)
	}
	m.body = body
	return m, nil
}

// variable returns the name under which a module's exports are kept in a joined file. No module has
// a name with a $ in it.
func variable(name string) string {
	return "$" + strings.NewReplacer("/", "$", "-", "_", ".js", "").Replace(name)
}

// joinModules returns one module with a main module and all that it imports. Each has a scope of its
// own and runs once, after those that it imports, as the modules by themselves would. Those that are
// served apart are imported.
func (a *assets) joinModules(main string) ([]byte, error) {
	if err := a.importsWithin(main, nil); err != nil {
		return nil, err
	}
	var head, rest bytes.Buffer
	for _, name := range a.order(main) {
		if a.apart[name] {
			fmt.Fprintf(&head, "import * as %s from %q;\n", variable(name), a.paths[name])
			continue
		}
		m := a.modules[name]
		fmt.Fprintf(&rest, "const %s = (() => {\n%s\nreturn { %s };\n})();\n", variable(name), bytes.TrimSpace(m.body), strings.Join(m.exports, ", "))
	}
	return append(head.Bytes(), rest.Bytes()...), nil
}

// importsWithin checks that each module that is imported exists and does not lead back to one of those
// that import it.
func (a *assets) importsWithin(name string, by []string) error {
	if slices.Contains(by, name) {
		return fmt.Errorf("%s imports itself by way of others: %s", name, strings.Join(by, ", "))
	}
	m, ok := a.modules[name]
	if !ok && !a.apart[name] {
		return fmt.Errorf("%s: %s does not exist", strings.Join(by, ", "), name)
	}
	for _, imported := range m.imports {
		if err := a.importsWithin(imported, append(slices.Clone(by), name)); err != nil {
			return err
		}
	}
	return nil
}
