package config

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// position is a place in the file, both counted from 1.
type position struct{ line, column int }

func positionOf(t *token.Token) position {
	if t == nil || t.Position == nil {
		return position{1, 1}
	}
	return position{t.Position.Line, t.Position.Column}
}

// reader collects, over one file, the faults, the ids that were given and the names
// that must turn out to be one of them.
type reader struct {
	faults     Faults
	given      map[kind]*register
	references []reference
	buses      map[string]string // speed and frame of Modbus lines, by port
	// open reads an included file by the path that the configuration gives. It returns the name that
	// faults call the file. It is nil where a configuration is no file.
	open func(path string) (name string, data []byte, err error)
	file string // the included file that is read; empty for the configuration itself
	keys *[]Key // collects the keys for [Keys]; nil while a file is read
}

func (r *reader) fault(at position, path, found, want string) {
	r.faults.List = append(r.faults.List, Fault{File: r.file, Line: at.line, Column: at.column, Path: path, Found: found, Want: want})
}

// mapping is one YAML mapping under reading. Each key is asked for once by the
// method of its type, which also makes it known; close reports what nobody asked
// for. A value at fault is reported and leaves its default in place.
type mapping struct {
	r      *reader
	path   string
	at     position
	fields map[string]*field
	order  []string // keys in the file's order
	known  []string
}

type field struct {
	key   position
	value ast.Node
	bad   bool
}

// mapping opens a node as a mapping, or reports that it is none and returns nil.
func (r *reader) mapping(node ast.Node, path string) *mapping {
	yaml, ok := node.(*ast.MappingNode)
	if !ok {
		r.fault(start(node), path, describe(node), "a mapping of keys and values")
		return nil
	}
	m := &mapping{r: r, path: path, at: start(yaml), fields: map[string]*field{}}
	for _, entry := range yaml.Values {
		at := positionOf(entry.Key.GetToken())
		key, ok := entry.Key.(*ast.StringNode)
		if !ok {
			r.fault(at, path, fmt.Sprintf("the key %s", entry.Key), "a plain word as key")
			continue
		}
		if first, twice := m.fields[key.Value]; twice {
			r.fault(at, m.child(key.Value), fmt.Sprintf("the key a second time, first on line %d", first.key.line), "keep one of the two")
			continue
		}
		m.fields[key.Value] = &field{key: at, value: entry.Value}
		m.order = append(m.order, key.Value)
	}
	return m
}

// start is where a node begins. A block mapping's own token is the colon behind its
// first key, so the key is taken.
func start(node ast.Node) position {
	if yaml, ok := node.(*ast.MappingNode); ok && !yaml.IsFlowStyle && len(yaml.Values) > 0 {
		return positionOf(yaml.Values[0].Key.GetToken())
	}
	return positionOf(node.GetToken())
}

// describe says in words what stands at a node.
func describe(node ast.Node) string {
	switch n := node.(type) {
	case *ast.NullNode:
		return "nothing"
	case *ast.MappingNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	case *ast.LiteralNode:
		return "a block of text"
	case *ast.AliasNode:
		return "an alias"
	case *ast.AnchorNode:
		return "an anchor"
	case *ast.TagNode:
		return "a tag"
	case *ast.StringNode:
		return quote(n.Value)
	}
	return strings.Trim(quote(node.GetToken().Value), `"`)
}

func (m *mapping) child(key string) string {
	if m.path == "" {
		return key
	}
	return m.path + "." + key
}

// field makes a key known and returns its value, nil when it is not there.
func (m *mapping) field(key string) *field {
	m.known = append(m.known, key)
	return m.fields[key]
}

func (m *mapping) has(key string) bool { return m.fields[key] != nil }

// sound says that none of the keys was found at fault, so that it makes sense to
// compare their values.
func (m *mapping) sound(keys ...string) bool {
	for _, key := range keys {
		if f := m.fields[key]; f != nil && f.bad {
			return false
		}
	}
	return true
}

// fault reports the value of a key, or its absence where the mapping begins.
func (m *mapping) fault(key, found, want string) {
	f := m.fields[key]
	if f == nil {
		m.r.fault(m.at, m.child(key), found, want)
		return
	}
	f.bad = true
	m.r.fault(start(f.value), m.child(key), found, want)
}

// wrong reports the value of a key as it stands in the file.
func (m *mapping) wrong(key, want string) {
	m.fault(key, describe(m.fields[key].value), want)
}

// disagree reports a value that does not go with another one, whether it stands in the
// file or is the default.
func (m *mapping) disagree(key, value, want string) {
	if !m.has(key) {
		value += ", the default"
	}
	m.fault(key, value, want)
}

// wrongAs reports the value of a key with what makes it wrong.
func (m *mapping) wrongAs(key, how, want string) {
	m.fault(key, describe(m.fields[key].value)+", "+how, want)
}

// require reports a key that is not there.
func (m *mapping) require(key, want string) {
	m.noteRequired(key, want)
	if !m.has(key) {
		m.fault(key, "nothing", want)
	}
}

// section opens the mapping under a key; nil when there is none.
func (m *mapping) section(key string) *mapping {
	f := m.field(key)
	if f == nil {
		return nil
	}
	section := m.r.mapping(f.value, m.child(key))
	f.bad = section == nil
	return section
}

// elements returns the entries of the list under a key; nil when there is none.
func (m *mapping) elements(key, want string) []ast.Node {
	f := m.field(key)
	if f == nil {
		return nil
	}
	list, ok := f.value.(*ast.SequenceNode)
	if !ok {
		m.wrong(key, want)
		return nil
	}
	return list.Values
}

// each reads the list of mappings under a key, one after the other.
func (m *mapping) each(key, want string, read func(*mapping)) {
	for i, node := range m.elements(key, want) {
		if entry := m.r.mapping(node, fmt.Sprintf("%s[%d]", m.child(key), i)); entry != nil {
			read(entry)
			entry.close()
		}
	}
}

// some reports a list that is there and empty.
func (m *mapping) some(key, want string) {
	if f := m.fields[key]; f != nil {
		if list, ok := f.value.(*ast.SequenceNode); ok && len(list.Values) == 0 {
			m.fault(key, "an empty list", want)
		}
	}
}

// close reports the keys that nobody asked for, each with the nearest known one.
func (m *mapping) close() {
	for _, key := range m.order {
		if slices.Contains(m.known, key) {
			continue
		}
		want := "one of " + strings.Join(m.known, ", ")
		if word, rest, cut := strings.Cut(key, " "); cut && slices.Contains(m.known, word) {
			want = fmt.Sprintf("a colon behind the key, as in %s: %s", word, strings.TrimSpace(rest))
		} else if near := nearest(key, m.known); near != "" {
			want = "did you mean " + near + "?"
		}
		m.r.fault(m.fields[key].key, m.path, "the unknown key "+quote(key), want)
	}
}
