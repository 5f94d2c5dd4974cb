package config

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// withBook writes a configuration whose materials are in a book of their own, and reads it.
func withBook(t *testing.T, own, book string) (Shop, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "shared"), 0o755); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "potlifed.yaml")
	for path, text := range map[string]string{file: own, filepath.Join(dir, "shared", "recipes.yaml"): book} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return Read(file)
}

const withoutInks = `bench: bench-1
include: shared/recipes.yaml
scales: [{id: scale-1, port: /dev/ttyUSB0}]
sensors: [{id: air, zone: hall, path: /sys/class/hwmon/hwmon0}]
`

const recipes = `hardeners: [{id: h1}]
inks:
  - {id: gloss, hardener: h1, hardener_ratio: "5:1", pot_life: {about: 14h}}
defects: [{id: smudge, words: Smudge}]
`

func TestInclude(t *testing.T) {
	shop, err := withBook(t, withoutInks+`inks: [{id: own, hardener: h1, hardener_ratio: "4:1", pot_life: {about: 8h}}]`+"\n", recipes)
	if err != nil {
		t.Fatal(err)
	}
	if len(shop.Inks) != 2 || shop.Inks[0].ID != "gloss" || shop.Inks[1].ID != "own" || len(shop.Hardeners) != 1 || len(shop.Defects) != 1 {
		t.Errorf("%+v", shop.Inks)
	}
	if _, err := withBook(t, withoutInks, recipes); err != nil {
		t.Errorf("only the book's inks: %v", err)
	}
}

func TestFiles(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	if got := Files(file); !slices.Equal(got, []string{file}) {
		t.Errorf("a file that is not there: %q", got)
	}
	if err := os.WriteFile(file, []byte("include: sub/book.yaml\nscales: 7\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := Files(file); !slices.Equal(got, []string{file, filepath.Join(dir, "sub", "book.yaml")}) {
		t.Errorf("a wrong file that includes one that is not there: %q", got)
	}
}

// TestIncludeFaults: each fault names the file and the line that it is in.
func TestIncludeFaults(t *testing.T) {
	const ownGloss = `inks: [{id: gloss, hardener: h1, hardener_ratio: "4:1", pot_life: {about: 8h}}]` + "\n"
	for name, c := range map[string]struct{ own, book, want string }{
		"value":    {withoutInks, strings.Replace(recipes, "5:1", "5", 1), `shared/recipes.yaml:3:47: inks[0].hardener_ratio: found "5"`},
		"name":     {withoutInks, strings.Replace(recipes, "hardener: h1", "hardener: h2", 1), `shared/recipes.yaml:3:27: inks[0].hardener: found "h2"`},
		"key":      {withoutInks, recipes + "bench: b\n", `shared/recipes.yaml:5:1: found the unknown key "bench"`},
		"cycle":    {withoutInks, recipes + "include: ../potlifed.yaml\n", `shared/recipes.yaml:5:1: include: found a file that is included and includes another`},
		"itself":   {strings.Replace(withoutInks, "shared/recipes.yaml", "potlifed.yaml", 1), recipes, `potlifed.yaml:2:1: include: found a file that is included`},
		"twice":    {withoutInks + ownGloss, recipes, `already used on line 3 of `},
		"missing":  {strings.Replace(withoutInks, "shared/", "", 1), recipes, `potlifed.yaml:2:10: include: found "recipes.yaml", which cannot be read`},
		"no text":  {withoutInks, "a: [", `shared/recipes.yaml:1:`},
		"no inks":  {withoutInks, "hardeners: [{id: h1}]\n", `potlifed.yaml:1:1: inks: found nothing`},
		"no lists": {withoutInks + "inks: []\n", "hardeners: []\n", `found an empty list`},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := withBook(t, c.own, c.book); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got\n%v\nwant %s", err, c.want)
			}
		})
	}
	if _, err := Parse("demo", []byte(withoutInks)); err == nil || !strings.Contains(err.Error(), "in a configuration that is no file") {
		t.Error(err)
	}
}

// FuzzInclude: whatever the bytes of an included file, the configuration is refused with faults, or is whole.
func FuzzInclude(f *testing.F) {
	f.Add([]byte(recipes))
	f.Add([]byte("include: a\ninks: [{}]\n"))
	f.Fuzz(func(t *testing.T, book []byte) {
		shop, err := parse("fuzz.yaml", []byte(withoutInks), func(string) (string, []byte, error) { return "book.yaml", book, nil })
		if err != nil {
			if faults := err.(*Faults); len(faults.List) == 0 {
				t.Error("no faults")
			}
			return
		}
		checkIDs(t, shop)
		checkNames(t, shop)
		checkNumbers(t, shop)
	})
}
