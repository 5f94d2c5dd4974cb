package importing

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"potlifed/daemon/export"
	"potlifed/daemon/figures"
	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/report"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/quality"
)

// yearOnPaper writes a year of one bench: air each minute, 1,500 batches, four million prints and 20,000
// rejects by the minute on three presses.
func yearOnPaper(b *testing.B, dir string) (files []string) {
	b.Helper()
	begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	write := func(name, header string, rows func(put func(format string, args ...any))) {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			b.Fatal(err)
		}
		w := bufio.NewWriter(f)
		fmt.Fprintln(w, header)
		rows(func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) })
		if err := w.Flush(); err != nil {
			b.Fatal(err)
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
		files = append(files, f.Name())
	}
	stamp := func(minute int) string { return begin.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339) }
	write("air.csv", "time,zone,temperature_c,humidity_pct", func(put func(string, ...any)) {
		for m := range 365 * 24 * 60 {
			put("%s,hall,%.2f,%.2f", stamp(m), 21+float64(m%180)/60, 40+float64(m%1440)/100)
		}
	})
	write("batches.csv", "id,ink,mixed_at,closed_at,outcome,zone,press", func(put func(string, ...any)) {
		for i := range 1500 {
			at := i/6*1440 + 480 + i%6*80
			put("%s-%d,dial-satin,%s,%s,used-up,hall,press-%d", begin.AddDate(0, 0, i/6).Format("0102"), i%6+1, stamp(at), stamp(at+75), 1+i%2)
		}
	})
	batch := func(day, minute int) string {
		return fmt.Sprintf("%s-%d", begin.AddDate(0, 0, day).Format("0102"), min(minute/80, 5)+1)
	}
	write("prints.csv", "time,press,prints,batch,temperature_c,humidity_pct,spent", func(put func(string, ...any)) {
		for day := range 250 {
			for m := range 480 {
				for press := 1; press <= 2; press++ {
					put("%s,press-%d,%d,%s,21.5,%d,0.%d", stamp(day*1440+480+m), press, 16+m%3, batch(day, m), 40+m%15, 10+m%80)
				}
			}
		}
	})
	write("defects.csv", "time,press,kind,defects,batch", func(put func(string, ...any)) {
		for i := range 20_000 {
			day, m := i/80, i%80*6
			put("%s,press-%d,pinholes,1,%s", stamp(day*1440+480+m), 1+i%2, batch(day, m))
		}
	})
	return files
}

// peak reports the largest heap in use while f runs.
func peak(f func()) (mb float64) {
	runtime.GC()
	stop, done := make(chan struct{}), make(chan float64)
	go func() {
		most := uint64(0)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapInuse)
			select {
			case <-stop:
				done <- float64(most) / 1e6
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	f()
	close(stop)
	return <-done
}

// BenchmarkYear imports a year of paper records, asks for it, and exports it. Budget on a Pi: ten minutes for
// the import, 200 ms for a question, 2 MB/s for the export, 64 MB of memory.
func BenchmarkYear(b *testing.B) {
	for range b.N {
		dir := b.TempDir()
		files := yearOnPaper(b, b.TempDir())
		j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
		if err != nil {
			b.Fatal(err)
		}
		defer j.Close()
		if err := history.New(history.Settings{Dir: dir, Journal: j, Log: slog.New(slog.DiscardHandler)}).Close(); err != nil {
			b.Fatal(err)
		}
		began := time.Now()
		b.ReportMetric(peak(func() {
			if _, err := Files(b.Context(), dir, files, known, false, func(string, float64) {}); err != nil {
				b.Fatal(err)
			}
		}), "MB-heap-import")
		b.ReportMetric(time.Since(began).Seconds(), "s-import")
		b.ReportMetric(float64(history.SizeOf(filepath.Join(dir, history.FileName)))/1e6, "MB-file")

		h, err := history.OpenToRead(b.Context(), dir, j)
		if err != nil {
			b.Fatal(err)
		}
		defer h.Close()
		from, to := known.Now.AddDate(-2, 0, 0), known.Now
		day, err := history.StepOf("day", time.UTC)
		if err != nil {
			b.Fatal(err)
		}
		ask := func(unit string, f func() (int, error)) {
			began := time.Now()
			if n, err := f(); err != nil || n == 0 {
				b.Fatal(unit, n, err)
			}
			b.ReportMetric(float64(time.Since(began).Microseconds())/1000, unit)
		}
		ask("ms-air-by-day", func() (int, error) {
			rows, err := h.ZoneAir(b.Context(), "hall", from, to, day, 10_000)
			return len(rows), err
		})
		ask("ms-prints-by-day", func() (int, error) {
			rows, err := h.PrintsIn(b.Context(), history.Search{From: from, To: to}, day, 100_000)
			return len(rows), err
		})
		ask("ms-batches", func() (int, error) {
			rows, err := h.Batches(b.Context(), history.Search{From: from, To: to}, 10_000)
			return len(rows), err
		})
		m := figures.Maker{Locale: words.Locale{Zone: time.UTC}, Width: 900}
		drawn := func(from, to time.Time) (int, error) {
			step, err := history.StepOf(history.PictureStep(from, to), time.UTC)
			if err != nil {
				return 0, err
			}
			rows, err := h.ZoneAir(b.Context(), "hall", from, to, step, 10_000)
			if err != nil {
				return 0, err
			}
			return len(rows), m.Air(from, to, rows, nil).Render(io.Discard)
		}
		begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
		ask("ms-chart-day", func() (int, error) { return drawn(begin.AddDate(0, 3, 0), begin.AddDate(0, 3, 1)) })
		ask("ms-chart-year", func() (int, error) { return drawn(begin, begin.AddDate(1, 0, 0)) })
		stored := study.Stored{History: h, Bench: "bench-1", Now: func() time.Time { return to }, Open: func() []study.Mix { return nil }}
		studies := study.NewRunner(stored, time.UTC, time.Now)
		ask("ms-study", func() (int, error) {
			a, err := studies.Study(b.Context(), study.Request{Relevant: quality.UsualRelevant})
			return int(a.Prints), err
		})
		ask("ms-report-month", func() (int, error) {
			return 1, report.Write(b.Context(), io.Discard, report.Sources{
				Bench: "bench-1", History: h, Study: studies, Zones: []string{"hall"}, Presses: []report.Press{{ID: "press-1", Zone: "hall"}, {ID: "press-2", Zone: "hall"}},
				Locale: words.Locale{Zone: time.UTC}, Kind: func(id string) string { return id },
			}, report.Request{From: begin.AddDate(0, 3, 0), To: begin.AddDate(0, 4, 0)})
		})
		began = time.Now()
		var bytes int64
		b.ReportMetric(peak(func() {
			done, err := export.Write(b.Context(), export.Settings{Bench: "bench-1", Journal: j, History: h, From: from, To: to, Zone: time.UTC, Format: "csv", Dir: b.TempDir()})
			if err != nil {
				b.Fatal(err)
			}
			for _, w := range done {
				bytes += w.Bytes
			}
		}), "MB-heap-export")
		b.ReportMetric(float64(bytes)/1e6/time.Since(began).Seconds(), "MB/s-export")
		b.ReportMetric(float64(bytes)/1e6, "MB-exported")
	}
}
