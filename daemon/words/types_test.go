package words

import (
	"bytes"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the types of the pages")

const pageTypes = root + "/daemon/web/page/words.d.ts"

// TestPageTypes: the type checker of the pages knows each key and its placeholders.
func TestPageTypes(t *testing.T) {
	var b bytes.Buffer
	b.WriteString(`// The keys of the texts and their placeholders, written from the catalogue by
// go test ./daemon/words -run PageTypes -update

declare namespace Words {
  type Value = string | number;
  type Key = keyof Texts;
  /** What say takes beside a key: the values of its placeholders, if it has any. */
  type Arguments<K extends Key> = [keyof Texts[K]] extends [never] ? [] : [values: Texts[K]];
  interface Texts {
`)
	en := English()
	for _, key := range slices.Sorted(maps.Keys(en.texts)) {
		if key == last || !forPages(key) {
			continue
		}
		var fields []string
		for _, name := range placeholders(en.texts[key]) {
			kind := "Value"
			if name == "n" {
				kind = "number"
			}
			fields = append(fields, name+": "+kind)
		}
		fmt.Fprintf(&b, "    %q: {%s};\n", key, strings.Join(fields, "; "))
	}
	b.WriteString("  }\n}\n")
	if *update {
		if err := os.WriteFile(pageTypes, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	is, err := os.ReadFile(pageTypes)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(is, b.Bytes()) {
		t.Errorf("%s is not of this catalogue: write it again with -update", pageTypes)
	}
}
