package study

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/paper"
	"potlifed/model/quality"
)

// asLines returns a CSV file as JSON lines that are compressed, without what is empty.
func asLines(t *testing.T, text string) string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\xef\xbb\xbf"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	zipped := gzip.NewWriter(&out)
	lines := json.NewEncoder(zipped)
	for _, row := range rows[1:] {
		line := map[string]any{}
		for i, text := range row {
			if n, err := strconv.ParseFloat(text, 64); err == nil {
				line[rows[0][i]] = n
			} else if text != "" {
				line[rows[0][i]] = text
			}
		}
		if err := lines.Encode(line); err != nil {
			t.Fatal(err)
		}
	}
	if err := zipped.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestFilesOfSeveralBenches(t *testing.T) {
	t.Run("CSV", func(t *testing.T) { severalBenches(t, func(_ *testing.T, text string) string { return text }) })
	t.Run("JSON lines", func(t *testing.T) { severalBenches(t, asLines) })
}

func severalBenches(t *testing.T, written func(t *testing.T, text string) string) {
	table := NewTable(Filter{})
	for name, text := range map[string]string{
		"prints.csv": "\xef\xbb\xbfbench,time,press,batch,prints,temperature_c,humidity_pct,spent,note\n" +
			"north,2026-03-02T06:00:00Z,press-1,0302-1,120,20,50,0.25,fine\n" +
			"south,2026-03-02T07:00:00+01:00,press-1,0302-1,80,,,,\n",
		"defects.csv": "bench,minute,press,batch,kind,defects\n" +
			"north,2026-03-02T06:07:00Z,press-1,0302-1,dust,3\n" +
			"north,2026-03-02T06:30:00Z,press-1,0302-1,dust,-1\n",
		"batches.csv": "id,bench,closed_at,mixed_at,thinner_pct,ratio_off_pct,ink\n" +
			"0302-1,north,2026-03-02T11:00:00Z,,12.5,-3,gloss-4\n" +
			"0302-1,south,,2026-03-02T05:00:00Z,,,matt-10\n",
	} {
		if err := table.Read(name, strings.NewReader(written(t, text))); err != nil {
			t.Fatal(err)
		}
	}
	d, _ := table.data(time.UTC)
	if len(d.Cells) != 3 {
		t.Fatalf("%d cells", len(d.Cells))
	}
	north, south := d.Cells[0], d.Cells[1]
	if north.Place != "north/press-1/gloss-4" || south.Place != "south/press-1/matt-10" || north.Batch == south.Batch || north.Day == south.Day {
		t.Errorf("%+v\n%+v", north, south)
	}
	if north.Prints.Prints != 120 || north.Defects[0] != 2 || south.Prints.Prints != 80 {
		t.Errorf("%+v\n%+v", north.Prints, south.Prints)
	}
	// 20 °C and 50 % are 8.643 g/m³: ASHRAE's saturation pressure, as psychrolib has it.
	if c := north.Conditions; math.Abs(c[quality.VapourDensity]-8.643) > 5e-4 || c[quality.SpentLife] != 0.25 || c[quality.Thinner] != 12.5 || c[quality.RatioError] != 3 {
		t.Errorf("%v", c)
	}
	if !math.IsNaN(south.Conditions[quality.VapourDensity]) || !math.IsNaN(south.Conditions[quality.Thinner]) {
		t.Errorf("%v", south.Conditions)
	}
}

func TestWrongFilesAreNamed(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "f.csv: the file is empty"},
		{"no JSON", "{\"time\":\"2026-03-02T06:00:00Z\",\"press\":\"press-1\",\"prints\":3}\n{oops\n", "f.csv: row 2: not a JSON object"},
		{"JSON with a wrong number", "{\"time\":\"2026-03-02T06:00:00Z\",\"press\":\"press-1\",\"prints\":-3}\n", "f.csv: row 1, column prints: -3 is outside 0 to 10000000"},
		{"compressed and cut off", asLines(t, "time,press,prints\n2026-03-02T06:00:00Z,press-1,3\n")[:30], "f.csv: after row 1: the compressed file is damaged or not complete"},
		{"other columns", "a,b\n1,2\n", "f.csv: row 1: want the columns time,press,prints or time,press,kind,defects, or id,closed_at of batches; found a,b"},
		{"a column twice", "time,press,prints,prints\n", `f.csv: row 1: the column "prints" is there twice`},
		{"no zone in a time", "time,press,prints\n2026-03-02 06:00,p,3\n", "f.csv: row 2, column time: "},
		{"no press", "time,press,prints\n2026-03-02T06:00:00Z,,3\n", "f.csv: row 2, column press: no value; want the id of a press"},
		{"negative prints", "time,press,prints\n2026-03-02T06:00:00Z,p,1\n2026-03-02T06:00:00Z,p,-3\n", "f.csv: row 3, column prints: -3 is outside 0 to 10000000"},
		{"half a print", "time,press,prints\n2026-03-02T06:00:00Z,p,1.5\n", "f.csv: row 2, column prints: 1.5 is not a whole number"},
		{"text for a number", "time,press,prints\n2026-03-02T06:00:00Z,p,many\n", `f.csv: row 2, column prints: "many" is not a number`},
		{"no count", "time,press,prints,kind,defects\n2026-03-02T06:00:00Z,p,,,\n", "f.csv: row 2, column prints: no value"},
		{"defects of no kind", "time,press,prints,kind,defects\n2026-03-02T06:00:00Z,p,9,,2\n", "f.csv: row 2, column kind: no value; want the kind of the defects"},
		{"more defects than prints", "time,press,prints,kind,defects\n2026-03-02T06:00:00Z,p,9,dust,10\n", "f.csv: row 2, column defects: 10 defects among 9 prints"},
		{"the name of all", "time,press,kind,defects\n2026-03-02T06:00:00Z,p,all,1\n", `f.csv: row 2, column kind: "all" is the name of all kinds together`},
		{"humidity", "time,press,prints,humidity_pct\n2026-03-02T06:00:00Z,p,9,101\n", "f.csv: row 2, column humidity_pct: 101 is outside 0 to 100"},
		{"a batch without time", "id,closed_at\nb,\n", "f.csv: row 2, column id: the batch has no time; want closed_at or mixed_at"},
		{"a batch without id", "id,closed_at\n,2026-03-02T06:00:00Z\n", "f.csv: row 2, column id: no value; want the id of a batch"},
		{"a short row", "time,press,prints\n2026-03-02T06:00:00Z,p\n", "f.csv: row 2: not as many values as the header has columns (3)"},
	} {
		err := NewTable(Filter{}).Read("f.csv", strings.NewReader(c.text))
		var wrong *paper.FormatError
		if !errors.As(err, &wrong) || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add("bench,time,press,batch,prints,kind,defects,temperature_c,humidity_pct\nn,2026-03-02T06:00:00Z,p,b,100,dust,3,20,50\n")
	f.Add("id,closed_at,thinner_pct,ratio_off_pct\nb,2026-03-02T06:00:00Z,12,-3\n")
	f.Add("time,press,kind,defects\n2026-03-02T06:00:00Z,p,dust,-4\n")
	f.Add("{\"time\":\"2026-03-02T06:00:00Z\",\"press\":\"press-1\",\"prints\":3}\n\n{\"time\":\"2026-03-02T06:00:00Z\",\"press\":\"press-1\",\"kind\":\"dust\",\"defects\":null}\n")
	f.Add("\x1f\x8b\x08\x00")
	f.Fuzz(func(t *testing.T, text string) {
		table := NewTable(Filter{})
		if err := table.Read("f.csv", strings.NewReader(text)); err != nil {
			var wrong *paper.FormatError
			if !errors.As(err, &wrong) {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, c := range cellsOf(table) {
			if c.Prints.Prints < 0 || math.IsInf(c.Conditions[quality.VapourDensity], 0) {
				t.Fatalf("%+v", c)
			}
			for _, n := range c.Defects {
				if n < 0 {
					t.Fatalf("%v rejects", n)
				}
			}
		}
	})
}
