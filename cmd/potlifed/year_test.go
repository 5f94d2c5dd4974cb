package main

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"potlifed/devices/simulate"
)

// yearOfAir writes a year of the air of a zone by the minute, and 1,500 batches with the names that
// [yearOfPrints] uses.
func yearOfAir(b *testing.B) (files []string) {
	dir := b.TempDir()
	air, batches := []byte("time,zone,temperature_c,humidity_pct\n"), []byte("id,ink,mixed_at,closed_at,outcome,zone,press\n")
	begin := yearBegins()
	for minute := range 365 * 24 * 60 {
		air = fmt.Appendf(air, "%s,bench,%.2f,%.2f\n", begin.Add(time.Duration(minute)*time.Minute).Format(time.RFC3339), 21+float64(minute%180)/60, 40+float64(minute%1440)/100)
	}
	for day := range 250 {
		for press := 1; press <= 3; press++ {
			for half := range 2 {
				at := begin.AddDate(0, 0, day).Add(time.Duration(360+240*half) * time.Minute)
				batches = fmt.Appendf(batches, "%d-%d-%d,dial-satin,%s,%s,used-up,bench,press-%d\n", day, press, half, at.Format(time.RFC3339), at.Add(4*time.Hour).Format(time.RFC3339), press)
			}
		}
	}
	for name, text := range map[string][]byte{"air.csv": air, "batches.csv": batches} {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, text, 0o600); err != nil {
			b.Fatal(err)
		}
		files = append(files, file)
	}
	return files
}

// BenchmarkPagesOfAYear measures each page of the built program, and everything that the pages ask for, with a
// year of one bench: its air by the minute, 1,500 batches, four million prints and 20,000 rejects. Aim: below
// 200 ms each.
func BenchmarkPagesOfAYear(b *testing.B) {
	h := newHardwareWith(b, simulate.ScaleOptions{DivisionG: 0.1})
	file := h.configuration(b, "")
	start(b, file).stop()
	if code, _, errs := command(b, append([]string{"import", "--config", file}, append(yearOfPrints(b), yearOfAir(b)...)...)...); code != 0 {
		b.Fatal(errs)
	}
	p := start(b, file)
	from, to := yearBegins(), yearBegins().AddDate(0, 0, 364)
	year := fmt.Sprintf("from=%s&to=%s", from.Format(time.DateOnly), to.Format(time.DateOnly))
	month := fmt.Sprintf("from=%s&to=%s", from.AddDate(0, 3, 0).Format(time.DateOnly), from.AddDate(0, 4, 0).Format(time.DateOnly))
	week := fmt.Sprintf("from=%s&to=%s", from.AddDate(0, 3, 0).Format(time.DateOnly), from.AddDate(0, 3, 7).Format(time.DateOnly))
	asked := []string{
		"/", "/presses", "/wall", "/closed", "/cans", "/devices", "/study", "/help", "/batches/" + url.PathEscape("200-1-1"), "/report?" + week, "/report?" + month, "/report?" + year,
		"/api/v1/study", "/api/v1/study/chart?press=press-1&" + year, "/api/v1/pictures/curve", "/api/v1/pictures/kept", "/api/v1/pictures/checks",
		"/api/v1/pictures/control?press=press-1&" + month, "/api/v1/pictures/control?press=press-1&" + year, "/api/v1/pictures/sensors?" + month,
		"/api/v1/pictures/air?" + week, "/api/v1/pictures/air?" + month, "/api/v1/pictures/air?" + year, "/api/v1/pictures/air?batches=false&" + year,
		"/api/v1/history/batches?" + year, "/api/v1/history/air?step=day&" + year, "/api/v1/history/prints?step=day&" + year, "/api/v1/history/defects?step=day&" + year,
		"/api/v1/batches?limit=50", "/api/v1/waste",
	}
	took := map[string][]time.Duration{}
	studies := 0
	for b.Loop() {
		for _, path := range asked {
			at := path
			if path == "/api/v1/study" { // asks something else each time, so that it is not answered from memory
				studies++
				at += fmt.Sprintf("?relevant_pct=%.3f", 20+float64(studies)/1000)
			}
			began := time.Now()
			r, err := http.Get(p.http + at)
			if err != nil {
				b.Fatal(err)
			}
			n, err := io.Copy(io.Discard, r.Body)
			r.Body.Close()
			if err != nil || r.StatusCode != http.StatusOK || n == 0 {
				b.Fatal(at, r.Status, n, err)
			}
			took[path] = append(took[path], time.Since(began))
		}
	}
	b.ReportMetric(0, "ns/op")
	for _, path := range asked {
		all := took[path]
		slices.Sort(all)
		b.Logf("%8.1f ms (first or slowest %.1f)  %s", all[len(all)/2].Seconds()*1000, all[len(all)-1].Seconds()*1000, path)
	}
}
