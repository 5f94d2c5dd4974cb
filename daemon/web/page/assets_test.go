package page

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

func small(extra map[string]string) fstest.MapFS {
	files := fstest.MapFS{
		"lib/a.js":       {Data: []byte("// What a is.\nexport const a = 1;\n")},
		"parts/b.js":     {Data: []byte("import { a as one } from \"../lib/a.js\";\n/** What b is. */\nexport const b = one + ' from \"../lib/no.js\"';\nexport async function c() {\n  /* nothing */\n}\n")},
		"parts/d.js":     {Data: []byte("import words from \"../lib/words.js\";\nexport { a } from \"../lib/a.js\";\nexport const { d, e } = words;\n")},
		"bench/main.js":  {Data: []byte("import {\n  b,\n} from \"../parts/b.js\";\nimport \"../lib/a.js\";\nimport { d } from \"../parts/d.js\";\nconsole.log(b, d); // said\nexport {};\n")},
		"other/main.js":  {Data: []byte("import { a } from \"../lib/a.js\";\nconsole.log(a);\n")},
		"lib/words.js":   {Data: []byte("export default {};\n")},
		"bench/page.css": {Data: []byte("/* of the\n   page */\np { margin: 0 }\n")},
		"bench/more.css": {Data: []byte("b { margin: 1px }\n")},
	}
	for name, text := range extra {
		files[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return files
}

var madeWords = map[string][]byte{"lib/words.js": []byte("export default { d: 1, e: 2 };\n")}

func smallSite(t *testing.T, files fstest.MapFS) *assets {
	t.Helper()
	a, err := newAssets(files, madeWords)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.style("bench", []string{"bench/page.css", "bench/more.css"}); err != nil {
		t.Fatal(err)
	}
	return a
}

// TestAChangeRenamesWhatIsMadeOfIt: an asset that is kept for good must get another name when
// anything that it is made of changes, and no other may.
func TestAChangeRenamesWhatIsMadeOfIt(t *testing.T) {
	before := smallSite(t, small(nil)).paths
	after := smallSite(t, small(map[string]string{"parts/b.js": "import { a } from \"../lib/a.js\";\nexport const b = a + 1;\n"})).paths
	for name, renamed := range map[string]bool{"lib/words.js": false, "other/main.js": false, "bench/main.js": true, "bench/main.css": false} {
		if before[name] == "" || (before[name] != after[name]) != renamed {
			t.Errorf("%s went from %q to %q", name, before[name], after[name])
		}
	}
}

func TestModulesAreJoined(t *testing.T) {
	a := smallSite(t, small(nil))
	want := `import * as $lib$words from "` + a.paths["lib/words.js"] + `";
const $lib$a = (() => {
const a = 1;
return { a };
})();
const $parts$b = (() => {
const { a: one } = $lib$a;
const b = one + ' from "../lib/no.js"';
async function c() {
}
return { b, c };
})();
const $parts$d = (() => {
const { default: words } = $lib$words;
const { a } = $lib$a;
const { d, e } = words;
return { a, d, e };
})();
const $bench$main = (() => {
const {
b,
} = $parts$b;

const { d } = $parts$d;
console.log(b, d); // said
return {  };
})();
`
	if main := string(a.served[a.paths["bench/main.js"]].plain()); main != want {
		t.Errorf("the module is sent as\n%s\nwant\n%s", main, want)
	}
	if got := a.scripts("bench/main.js"); !slices.Equal(got, []string{a.paths["lib/words.js"], a.paths["bench/main.js"]}) {
		t.Errorf("scripts %v", got)
	}
	if got := string(a.served[a.paths["bench/main.css"]].plain()); got != "p { margin: 0 }\nb { margin: 1px }\n" {
		t.Errorf("the styles are sent as\n%s", got)
	}
}

// A module that cannot be joined as it was meant is refused, and no page is served without it.
func TestFaultyModulesAreRefused(t *testing.T) {
	for why, text := range map[string]string{
		"by way of others":        "import { b } from \"../parts/b.js\";\n",
		"does not exist":          "import { c } from \"./c.js\";\n",
		"let c = 1;":              "export let c = 1;\n",
		"import * as c":           "import * as c from \"./words.js\";\n",
		"export { c":              "const c = 1;\nexport { c };\n",
		"goes over several lines": "export const a = `\n// no comment\n`;\n",
	} {
		if _, err := newAssets(small(map[string]string{"lib/a.js": text}), madeWords); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %v, want %q", text, err, why)
		}
	}
}
