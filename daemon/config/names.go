package config

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// kind is a sort of thing that has ids.
type kind string

const (
	anAirZone kind = "zone" // given by the sensors that measure it
	aDevice   kind = "scale or sensor"
	aCup      kind = "cup"
	aPress    kind = "press"
	aLight    kind = "light"
	aHardener kind = "hardener"
	aThinner  kind = "thinner"
	anInk     kind = "ink"
	aDefect   kind = "kind of defect"
	aPort     kind = "port"
	aUnit     kind = "unit"
	aPath     kind = "path"
	aTopic    kind = "topic"
	aFollowed kind = "press whose batch is observed"
)

// register holds what was given of one kind, and where.
type register struct {
	order []string
	lines map[string]int
	files map[string]string // the included file of each, empty for the configuration itself
}

// reference is a name that must be one of those given of its kind.
type reference struct {
	kind kind
	name string
	at   position
	path string
	file string // the included file that it is in
}

// idShape keeps ids safe in topics, labels, addresses and file names.
var idShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

var idRule = matching("an id of 1 to 32 small letters, digits and hyphens, not beginning with a hyphen", idShape)

// id reads the id of a new thing, which no other of its kind may have. Scales and
// sensors are one kind here, since they share their topics.
func (m *mapping) id(of kind, into *string) {
	m.require("id", idRule.want)
	m.text("id", into, idRule)
	if *into != "" {
		m.only("id", of, *into, "an id of its own")
	}
}

// only notes a value that no second thing may have.
func (m *mapping) only(key string, of kind, value, want string) {
	if line := m.r.give(of, value, start(m.fields[key].value).line); line > 0 {
		where := fmt.Sprintf("already used on line %d", line)
		if file := m.r.given[of].files[value]; file != m.r.file {
			where += " of " + file
		}
		m.wrongAs(key, where, want)
	}
}

// give notes that something exists. It returns the line where the same was given
// before, or 0.
func (r *reader) give(of kind, value string, line int) int {
	known := r.given[of]
	if known == nil {
		known = &register{lines: map[string]int{}, files: map[string]string{}}
		r.given[of] = known
	}
	if first, twice := known.lines[value]; twice {
		return first
	}
	known.lines[value], known.files[value] = line, r.file
	known.order = append(known.order, value)
	return 0
}

// ref reads the name of something that must be given somewhere in the file.
func (m *mapping) ref(key string, of kind, into *string) {
	m.text(key, into, textRule{"the id of a " + string(of), nil})
	if f := m.fields[key]; f != nil && !f.bad {
		m.r.refer(of, f.value, m.child(key))
	}
}

// refs reads a list of such names.
func (m *mapping) refs(key string, of kind, into *[]string) {
	m.texts(key, into, textRule{"the id of a " + string(of), nil})
	f := m.fields[key]
	if f == nil || f.bad {
		return
	}
	for i, node := range f.value.(*ast.SequenceNode).Values {
		m.r.refer(of, node, fmt.Sprintf("%s[%d]", m.child(key), i))
	}
}

func (r *reader) refer(of kind, node ast.Node, path string) {
	r.references = append(r.references, reference{of, node.(*ast.StringNode).Value, start(node), path, r.file})
}

// resolve reports the names that lead nowhere. Where a kind was not given at all
// although it must be, that is the one fault to report, not every name of it.
func (r *reader) resolve() {
	defer func() { r.file = "" }()
	for _, ref := range r.references {
		r.file = ref.file
		known := r.given[ref.kind]
		if known == nil && ref.kind == anAirZone {
			continue
		}
		want := "a " + string(ref.kind) + " of this file; there is none"
		if known != nil {
			if _, ok := known.lines[ref.name]; ok {
				continue
			}
			want = "a " + string(ref.kind) + " of this file: " + strings.Join(known.order, ", ")
			if near := nearest(ref.name, known.order); near != "" {
				want += "; did you mean " + near + "?"
			}
		}
		r.fault(ref.at, ref.path, quote(ref.name), want)
	}
}
