package table

import (
	"bytes"
	"encoding/csv"
	"reflect"
	"strings"
	"testing"
	"time"
)

type embedded struct {
	Spent *float64 `json:"spent,omitempty" doc:"share"`
}

type row struct {
	At   time.Time `json:"time" doc:"when"`
	Name string    `json:"name" doc:"who"`
	N    int64     `json:"n" doc:"how many"`
	G    float64   `json:"mass_g" doc:"mass in g"`
	OK   bool      `json:"ok" doc:"whether"`
	embedded
	Not string `json:"-"`
}

func TestCSV(t *testing.T) {
	half := 0.5
	var out bytes.Buffer
	w := NewCSV(&out, reflect.TypeFor[row]())
	for _, r := range []row{
		{At: time.Date(2026, 6, 12, 10, 0, 0, 0, time.FixedZone("", 7200)), Name: "=1+1", N: -3, G: -0.25, OK: true, embedded: embedded{&half}},
		{Name: `a "b", c` + "\n"},
	} {
		if err := w.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	const want = "time,name,n,mass_g,ok,spent\n2026-06-12T08:00:00Z,'=1+1,-3,-0.25,true,0.5\n,\"a \"\"b\"\", c\n\",0,0,false,\n"
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

func TestAnEmptyTableHasAHeader(t *testing.T) {
	var out bytes.Buffer
	if err := NewCSV(&out, reflect.TypeFor[row]()).Header(); err != nil || out.String() != "time,name,n,mass_g,ok,spent\n" {
		t.Errorf("%q, %v", out.String(), err)
	}
}

func FuzzCellsComeBackTheSame(f *testing.F) {
	for _, s := range []string{"", "=cmd|x", "+1", "-1", "@a", "\tx", "\rx", "'", "''=", "'x", "a,b", `"`, " a ", "'=1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		harmless := Harmless(s)
		if harmless != "" && strings.ContainsRune("=+-@\t\r", rune(harmless[0])) {
			t.Fatalf("%q becomes %q", s, harmless)
		}
		if back := Plain(harmless); back != s {
			t.Fatalf("%q becomes %q and then %q", s, harmless, back)
		}
		if strings.ContainsAny(s, "\r") { // the reader of encoding/csv drops it before a line feed
			return
		}
		var out bytes.Buffer
		if err := NewCSV(&out, reflect.TypeFor[row]()).Write(row{Name: s}); err != nil {
			t.Fatal(err)
		}
		all, err := csv.NewReader(&out).ReadAll()
		if err != nil || len(all) != 2 || Plain(all[1][1]) != s {
			t.Fatalf("%q: %v %v", s, all, err)
		}
	})
}
