package page

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

func small(extra map[string]string) fstest.MapFS {
	files := fstest.MapFS{
		"lib/a.js":       {Data: []byte("export const a = 1;\n")},
		"parts/b.js":     {Data: []byte("import { a } from \"../lib/a.js\";\nexport const b = a + ' from \"../lib/no.js\"';\n")},
		"bench/main.js":  {Data: []byte("import {\n  b,\n} from \"../parts/b.js\";\nimport \"../lib/a.js\";\nexport { b } from \"../parts/b.js\";\n")},
		"bench/page.css": {Data: []byte("p { margin: 0 }\n")},
	}
	for name, text := range extra {
		files[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return files
}

func smallSite(t *testing.T, files fstest.MapFS) *assets {
	t.Helper()
	a, err := newAssets(files, nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestAChangeRenamesWhatImportsIt: an asset that is kept for good must get another name when
// anything that it is made of changes, and no other may.
func TestAChangeRenamesWhatImportsIt(t *testing.T) {
	before := smallSite(t, small(nil)).paths
	after := smallSite(t, small(map[string]string{"parts/b.js": "import { a } from \"../lib/a.js\";\nexport const b = a + 1;\n"})).paths
	for name, renamed := range map[string]bool{"lib/a.js": false, "parts/b.js": true, "bench/main.js": true, "bench/page.css": false} {
		if (before[name] != after[name]) != renamed {
			t.Errorf("%s went from %s to %s", name, before[name], after[name])
		}
	}
}

func TestImportsNameServedPaths(t *testing.T) {
	a := smallSite(t, small(nil))
	main := string(a.served[a.paths["bench/main.js"]].plain)
	want := "import {\n  b,\n} from \"" + a.paths["parts/b.js"] + "\";\nimport \"" + a.paths["lib/a.js"] + "\";\nexport { b } from \"" + a.paths["parts/b.js"] + "\";\n"
	if main != want {
		t.Errorf("the module is sent as\n%s\nwant\n%s", main, want)
	}
	if got := a.modules("bench/main.js"); !slices.Equal(got, []string{a.paths["lib/a.js"], a.paths["parts/b.js"], a.paths["bench/main.js"]}) {
		t.Errorf("modules in the order %v", got)
	}
}

func TestFaultyImportsAreRefused(t *testing.T) {
	for why, extra := range map[string]map[string]string{
		"by way of others": {"lib/a.js": "import { b } from \"../parts/b.js\";\n"},
		"does not exist":   {"lib/a.js": "import { c } from \"./c.js\";\n"},
	} {
		if _, err := newAssets(small(extra), nil); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%v: %v, want %q", slices.Collect(maps.Keys(extra)), err, why)
		}
	}
}
