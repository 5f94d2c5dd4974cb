package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/study"
	"potlifed/model/quality"
)

// studyFiles writes 30 days of prints and defects; on humid days there are factor times as many.
func studyFiles(t testing.TB, factor int) (prints, defects string) {
	t.Helper()
	var p, d strings.Builder
	p.WriteString("time,press,batch,prints,temperature_c,humidity_pct\n")
	d.WriteString("time,press,batch,kind,defects\n")
	for day := range 30 {
		for cell := range 16 {
			at := time.Date(2026, 3, 2+day, 8, 15*cell, 0, 0, time.UTC).Format(time.RFC3339)
			humidity, count := 35+day%5, 2+(day+cell)%3
			if day%2 == 1 {
				humidity, count = 65+day%5, factor*count
			}
			fmt.Fprintf(&p, "%s,press-1,%d-1,250,%d,%d\n", at, day, 20+cell%3, humidity)
			fmt.Fprintf(&d, "%s,press-1,%d-1,pinholes,%d\n", at, day, count)
		}
	}
	dir := t.TempDir()
	prints, defects = filepath.Join(dir, "prints.csv"), filepath.Join(dir, "defects.csv")
	for file, text := range map[string]string{prints: p.String(), defects: d.String()} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return prints, defects
}

func TestStudyOfFiles(t *testing.T) {
	prints, defects := studyFiles(t, 2)
	said := answered(t, studyCommand(), "", prints, defects)
	for _, want := range []string{"Yes: humid air goes with more rejects", "need not cause each other", "120000 prints", "30 batches, 30 days", "* All kinds together: "} {
		if !strings.Contains(said, want) {
			t.Errorf("does not say %q:\n%s", want, said)
		}
	}
	var a study.Answer
	if err := json.Unmarshal([]byte(answered(t, studyCommand(), "", "--json", prints, defects)), &a); err != nil {
		t.Fatal(err)
	}
	if a.Verdict != quality.MoreDefects || a.Prints != 120000 || a.Days != 30 || a.Headline == "" || a.Threshold == nil {
		t.Errorf("%+v", a)
	}
	// Twice as many at 67 % as at 37 %: 5.2 g/m³ at 21 °C apart, by saturation 18.3 g/m³.
	if e := a.Effects[0]; e.Swing == nil || *e.Swing < 1.7 || *e.Swing > 2.4 {
		t.Errorf("%+v", e)
	}
	prints, defects = studyFiles(t, 1)
	if said := answered(t, studyCommand(), "", prints, defects); !strings.Contains(said, "No difference that matters was found.") {
		t.Errorf("no effect:\n%s", said)
	}
	if said := answered(t, studyCommand(), "", "--to", "2026-03-03", prints, defects); !strings.Contains(said, "Nothing can be said yet") {
		t.Errorf("one day:\n%s", said)
	}
	if said := answered(t, studyCommand(), "", "--press", "press-9", prints, defects); !strings.Contains(said, "There are no prints and no rejects in what was read.") {
		t.Errorf("no press:\n%s", said)
	}
}

// TestStudyOfRejectsAlone: rejects without prints have no rate. It is said once, with how prints are recorded.
func TestStudyOfRejectsAlone(t *testing.T) {
	_, defects := studyFiles(t, 1)
	said := strings.Join(strings.Fields(answered(t, studyCommand(), "", defects)), " ")
	for _, want := range []string{
		"Nothing can be said yet: no prints were reported.", "rejects were reported. Rejects alone have no rate", "reports prints over the network or over MQTT", "potlifed import", "no prints, ",
	} {
		if strings.Count(said, want) != 1 {
			t.Errorf("does not say %q once:\n%s", want, said)
		}
	}
	for _, not := range []string{"not recorded for any print", "found: p below", "per 1000 prints"} {
		if strings.Contains(said, not) {
			t.Errorf("says %q:\n%s", not, said)
		}
	}
}

// TestStudySaysOnceWhatWasNotRecorded: no file has the thinner.
func TestStudySaysOnceWhatWasNotRecorded(t *testing.T) {
	prints, defects := studyFiles(t, 1)
	if err := os.WriteFile(defects, []byte("time,press,batch,kind,defects\n2026-03-02T08:00:00Z,press-1,0-1,dust,3\n2026-03-02T08:00:00Z,press-1,0-1,smear,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	said := answered(t, studyCommand(), "", prints, defects)
	_, thinner, _ := strings.Cut(said, "Thinner, ")
	thinner, _, _ = strings.Cut(thinner, "\n\n")
	if n := strings.Count(thinner, "not recorded for any print"); n != 1 || strings.Count(thinner, "\n") > 1 {
		t.Errorf("says %d times that the thinner was not recorded:\n%s", n, thinner)
	}
}

func TestStudyRefuses(t *testing.T) {
	prints, _ := studyFiles(t, 1)
	refused(t, studyCommand(), "", "study: --config with files", "--config", "some.yaml", prints)
	refused(t, studyCommand(), "", "study: --from", "--from", "soon", prints)
	refused(t, studyCommand(), "", "is not before", "--from", "2026-03-02", "--to", "2026-03-02", prints)
	refused(t, studyCommand(), "", "study: --model \"cubic\"", "--model", "cubic", prints)
	refused(t, studyCommand(), "", "study: --relevant 0: want 1 to 1000", "--relevant", "0", prints)
	refused(t, studyCommand(), "time,press,prints\n2026-03-02T08:00:00Z,p,-1\n", "standard input: row 2, column prints: -1 is outside", "-")
	refused(t, studyCommand(), "", "study: file: open", prints+".none")
}
