package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// licenceFile tells which files in a module's directory are its terms.
var licenceFile = regexp.MustCompile(`(?i)^(un)?(licen[cs]e|copying|copyright|notice|patents|epl-|edl-)`)

// linked is a module of which a package is linked into the program.
type linked struct {
	Path, Version, Dir string
}

// linkedModules returns the modules of which something is linked, Go's own library first.
func (s source) linkedModules(ctx context.Context, t target) ([]linked, error) {
	c := exec.CommandContext(ctx, "go", "list", "-deps", "-json=Standard,Module", "./cmd/potlifed")
	c.Dir, c.Env, c.Stderr = s.root, t.environment(), os.Stderr
	out, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	root, version, err := goItself(ctx)
	if err != nil {
		return nil, err
	}
	modules := []linked{{"Go", version, root}}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			Module *struct {
				linked
				Main bool
			}
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		if p.Module != nil && !p.Module.Main && !slices.Contains(modules, p.Module.linked) {
			modules = append(modules, p.Module.linked)
		}
	}
	slices.SortFunc(modules[1:], func(a, b linked) int { return strings.Compare(a.Path, b.Path) })
	return modules, nil
}

func goItself(ctx context.Context) (root, version string, err error) {
	out, err := exec.CommandContext(ctx, "go", "env", "GOROOT", "GOVERSION").Output()
	if err != nil {
		return "", "", fmt.Errorf("go env: %w", err)
	}
	root, version, _ = strings.Cut(strings.TrimSpace(string(out)), "\n")
	return root, version, nil
}

// licences returns the terms of everything that is linked, as text. It returns an error for a
// module without terms, because such a module must not be given away.
func licences(modules []linked) ([]byte, error) {
	var text bytes.Buffer
	fmt.Fprintln(&text, "potlifed contains parts of the following. Each is followed by its terms.")
	for _, m := range modules {
		terms, err := m.terms()
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&text, "\n%s\n%s %s\n", strings.Repeat("=", 72), m.Path, m.Version)
		text.Write(terms)
	}
	return text.Bytes(), nil
}

func (m linked) terms() ([]byte, error) {
	entries, err := os.ReadDir(m.Dir)
	if err != nil {
		return nil, fmt.Errorf("terms of %s: %w", m.Path, err)
	}
	var text bytes.Buffer
	for _, e := range entries { // in the order of their names
		if e.IsDir() || !licenceFile.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
			continue
		}
		terms, err := os.ReadFile(filepath.Join(m.Dir, e.Name()))
		if err != nil {
			return nil, fmt.Errorf("terms of %s: %w", m.Path, err)
		}
		fmt.Fprintf(&text, "%s\n%s\n\n%s\n", strings.Repeat("-", 72), e.Name(), bytes.TrimSpace(terms))
	}
	if text.Len() == 0 {
		return nil, fmt.Errorf("%s %s has no file with its terms", m.Path, m.Version)
	}
	return text.Bytes(), nil
}
