package config

import "fmt"

var includeRule = nonEmpty("a file with hardeners, thinners, inks and defects that several benches share; a relative path begins at the folder of this file")

// book opens the included file, whose materials and defects come before those of the configuration. It returns
// nil where there is none, or none that can be read, with the fault reported. Faults are those of the
// included file until r.file is empty again. An included file includes no other: so there is no cycle.
func (r *reader) book(top *mapping) *mapping {
	var path string
	top.text("include", &path, includeRule)
	if path == "" {
		return nil
	}
	if r.open == nil {
		top.wrongAs("include", "in a configuration that is no file", "the lists themselves")
		return nil
	}
	name, data, err := r.open(path)
	if err != nil {
		top.wrongAs("include", fmt.Sprintf("which cannot be read (%v)", err), "a file that can be read")
		return nil
	}
	r.file = name
	book := r.document(data)
	if book == nil {
		r.file = ""
		return nil
	}
	if f := book.fields["include"]; f != nil {
		r.fault(f.key, "include", "a file that is included and includes another", "no include in it")
		delete(book.fields, "include")
		book.order = without(book.order, "include")
	}
	return book
}

func without(list []string, word string) (rest []string) {
	for _, w := range list {
		if w != word {
			rest = append(rest, w)
		}
	}
	return rest
}
