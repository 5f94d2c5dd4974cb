package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
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
	l := newScaleLines(b, func(file string) {
		start(b, file).stop()
		if code, _, errs := command(b, append([]string{"import", "--config", file}, append(yearOfPrints(b), yearOfAir(b)...)...)...); code != 0 {
			b.Fatal(errs)
		}
	})
	defer l.close()
	p := l.p
	from, to := yearBegins(), yearBegins().AddDate(0, 0, 364)
	year := fmt.Sprintf("from=%s&to=%s", from.Format(time.DateOnly), to.Format(time.DateOnly))
	month := fmt.Sprintf("from=%s&to=%s", from.AddDate(0, 3, 0).Format(time.DateOnly), from.AddDate(0, 4, 0).Format(time.DateOnly))
	week := fmt.Sprintf("from=%s&to=%s", from.AddDate(0, 3, 0).Format(time.DateOnly), from.AddDate(0, 3, 7).Format(time.DateOnly))
	asked := []string{
		"/", "/presses", "/closed", "/cans", "/devices", "/study", "/help", "/batches/0612-1", "/report?" + week, "/report?" + month, "/report?" + year,
		"/api/v1/study", "/api/v1/study/chart?press=press-1&" + year, "/api/v1/pictures/curve", "/api/v1/pictures/kept", "/api/v1/pictures/checks",
		"/api/v1/pictures/control?press=press-1&" + month, "/api/v1/pictures/control?press=press-1&" + year, "/api/v1/pictures/sensors?" + month,
		"/api/v1/pictures/air?" + week, "/api/v1/pictures/air?" + month, "/api/v1/pictures/air?" + year, "/api/v1/pictures/air?batches=false&" + year,
		"/api/v1/history/batches?" + year, "/api/v1/history/air?zone=bench&step=day&" + year, "/api/v1/history/prints?step=day&" + year, "/api/v1/history/defects?step=day&" + year,
		"/api/v1/batches", "/api/v1/waste",
	}
	const times = 10
	for b.Loop() {
		var table strings.Builder
		for i, path := range asked {
			var took []time.Duration
			began := processorTimeOfAll(b, p.cmd.Process.Pid)
			for n := range times {
				at := path
				if path == "/api/v1/study" { // asks something else each time, so that it is not answered from memory
					at += fmt.Sprintf("?relevant_pct=%.3f", 20+float64(b.N*times+n)/1000)
				}
				sent := time.Now()
				if text := p.text(at); text == "" {
					b.Fatal(at, ": an empty answer")
				}
				took = append(took, time.Since(sent))
			}
			used := processorTimeOfAll(b, p.cmd.Process.Pid) - began
			slices.Sort(took)
			fmt.Fprintf(&table, "\n%2d %7.1f ms, slowest %7.1f ms, processor %6.1f ms: %s", i+1, took[times/2].Seconds()*1000, took[times-1].Seconds()*1000, used.Seconds()*1000/times, path)
		}
		fmt.Println(table.String()) // a log of a benchmark ends after ten lines
	}
	b.ReportMetric(0, "ns/op")
}

// processorTimeOfAll is what a process and those that it has waited for have used.
func processorTimeOfAll(b *testing.B, pid int) time.Duration {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	ticks := 0
	for _, f := range strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))[11:15] {
		n, err := strconv.Atoi(f)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}
