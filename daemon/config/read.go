package config

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Both limits are far beyond any shop; more is a wrong file. They also keep the YAML
// parser, whose memory grows with the square of the depth, from taking all there is:
// 65,000 opening brackets cost it more than 4 GB.
const (
	maxFileBytes = 64 << 10
	maxDepth     = 16
)

// byteOrderMark is what some editors put before UTF-8 text. It is no fault.
const byteOrderMark = "\xef\xbb\xbf"

// Read reads the configuration at path. The error is a [*Faults] when the file was
// read and is not right.
func Read(path string) (Shop, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Shop{}, fmt.Errorf("read configuration: %w", err)
	}
	return parse(path, data, beside(path))
}

// Files names the files that the configuration at path is read from: path, and the file that it includes, if
// any. They may be wrong, or not be there.
func Files(path string) []string {
	names := []string{path}
	data, err := os.ReadFile(path)
	if err != nil {
		return names
	}
	open := beside(path)
	// Its faults are Read's to tell.
	_, _ = parse(path, data, func(other string) (string, []byte, error) {
		name, text, err := open(other)
		names = append(names, name)
		return name, text, err
	})
	return names
}

// beside opens the files that the configuration at path includes. A relative path begins at its folder.
func beside(path string) func(other string) (string, []byte, error) {
	return func(other string) (string, []byte, error) {
		if !filepath.IsAbs(other) {
			other = filepath.Join(filepath.Dir(path), other)
		}
		data, err := os.ReadFile(other)
		return other, data, err
	}
}

// Parse checks a configuration; name is what the faults call the file. The error is
// always a [*Faults], and with one there is no Shop. It includes no other file.
func Parse(name string, data []byte) (Shop, error) { return parse(name, data, nil) }

func parse(name string, data []byte, open func(path string) (string, []byte, error)) (Shop, error) {
	r := &reader{faults: Faults{File: name}, given: map[kind]*register{}, open: open}
	shop := defaults()
	if top := r.document(data); top != nil {
		r.shop(top, &shop)
		top.close()
		r.resolve()
	}
	if len(r.faults.List) > 0 {
		r.faults.sort()
		return Shop{}, &r.faults
	}
	inherit(&shop)
	return shop, nil
}

// document parses the YAML down to its one mapping; nil when there is none, with the
// fault reported.
func (r *reader) document(data []byte) *mapping {
	if len(data) > maxFileBytes {
		r.fault(position{1, 1}, "", fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("a configuration of at most %d bytes", maxFileBytes))
		return nil
	}
	data = bytes.TrimPrefix(data, []byte(byteOrderMark))
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		r.fault(position{1, 1}, "", "UTF-16 text", "UTF-8 text; save the file again with the encoding UTF-8")
		return nil
	}
	if at, found, want := firstNoText(string(data)); found != "" {
		r.fault(at, "", found, want)
		return nil
	}
	tokens := lexer.Tokenize(string(data))
	if at, ok := firstTooDeep(tokens); !ok {
		r.fault(at, "", "lists or mappings inside each other beyond "+strconv.Itoa(maxDepth), "a configuration as in the sample file")
		return nil
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		r.syntax(err, string(data), tokens)
		return nil
	}
	var bodies []ast.Node
	for _, doc := range file.Docs {
		if doc.Body != nil {
			bodies = append(bodies, doc.Body)
		}
	}
	switch len(bodies) {
	case 0:
		r.fault(position{1, 1}, "", "nothing", "a configuration with at least bench, scales, sensors and inks")
		return nil
	case 1:
		return r.mapping(bodies[0], "")
	}
	r.fault(start(bodies[1]), "", "a second document", "one document; no line of three hyphens between")
	return nil
}

// firstTooDeep finds the first token beyond maxDepth open brackets, or beyond maxDepth
// list entries, keys, tags or anchors begun on one line. Depth by indentation needs no
// limit: it costs the file more bytes for each level.
func firstTooDeep(tokens token.Tokens) (position, bool) {
	open, line, begun := 0, 0, 0
	for _, t := range tokens {
		if t.Position.Line != line {
			line, begun = t.Position.Line, 0
		}
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			open++
		case token.SequenceEndType, token.MappingEndType:
			open--
		case token.SequenceEntryType, token.MappingKeyType, token.TagType, token.AnchorType:
			begun++
		}
		if open > maxDepth || begun > maxDepth {
			return positionOf(t), false
		}
	}
	return position{}, true
}
