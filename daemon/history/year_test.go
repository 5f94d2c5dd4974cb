package history

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// roomAir is air that follows the time of day, with the noise of a sensor's last digits.
func roomAir(second int) air.State {
	day := 2 * math.Pi * float64(second%86_400) / 86_400
	noise := float64(second*7919%101)/101 - 0.5
	return stateOf(21+3*math.Sin(day)+0.04*noise, 45+12*math.Cos(day)+0.3*noise)
}

// writtenBytes returns how many bytes this process has handed to the kernel for writing.
func writtenBytes(b *testing.B) int64 {
	b.Helper()
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		b.Skip(err)
	}
	var n int64
	for line := range bytes.Lines(text) {
		if _, err := fmt.Sscanf(string(line), "wchar: %d", &n); err == nil {
			return n
		}
	}
	b.Fatal("no wchar")
	return 0
}

// BenchmarkDayOfReadings records a day of three sensors, a reading each 5 s, with the air steps of a
// zone, as in operation: a tick each minute. It reports the bytes written to files. Budget on a Pi: 12 MB a day.
func BenchmarkDayOfReadings(b *testing.B) {
	for range b.N {
		s := newStand(b)
		before := int64(0)
		journal := int64(0)
		for minute := range 2 * 24 * 60 { // the first day makes the file
			if minute == 24*60 {
				before, journal = writtenBytes(b), 0
			}
			for second := range 12 {
				for _, sensor := range []string{"hall-1", "hall-2", "bench-1"} {
					s.history.SensorRead(b.Context(), sensor, reading(roomAir(60*minute+5*second)))
				}
				s.mono += 5 * time.Second
			}
			s.history.drain()
			mark := writtenBytes(b)
			s.blows(roomAir(60*minute), cure.Measured)
			journal += writtenBytes(b) - mark
			s.history.tick(b.Context())
		}
		b.ReportMetric(float64(writtenBytes(b)-before-journal)/1e6, "MB/day")
	}
}

// BenchmarkYear records a year of one sensor, a reading each 5 s, and asks for a day and a year.
// Budget on a Pi: 200 ms for each question.
func BenchmarkYear(b *testing.B) {
	for range b.N {
		s := newStand(b)
		began := time.Now()
		for hour := range 365 * 24 {
			for second := range 720 {
				s.history.waiting.take(taken{"hall-1", Reading{s.at(), roomAir(3600*hour + 5*second)}, s.mono, false})
				s.mono += 5 * time.Second
			}
			s.history.tick(b.Context())
		}
		s.save()
		b.ReportMetric(time.Since(began).Seconds(), "s-recording")
		b.ReportMetric(float64(SizeOf(filepath.Join(s.dir, FileName)))/1e6, "MB")
		day, err := StepOf("day", time.UTC)
		if err != nil {
			b.Fatal(err)
		}
		hour, err := StepOf("1h", time.UTC)
		if err != nil {
			b.Fatal(err)
		}
		for _, ask := range []struct {
			unit string
			do   func() (int, error)
		}{
			{"ms-day-of-readings", func() (int, error) {
				rows, err := s.history.SensorReadings(b.Context(), "hall-1", s.at().Add(-24*time.Hour), s.at(), most)
				return len(rows), err
			}},
			{"ms-day-of-minutes", func() (int, error) {
				rows, err := s.history.SensorMinutes(b.Context(), "hall-1", s.at().Add(-24*time.Hour), s.at(), time.Minute, time.UTC, most)
				return len(rows), err
			}},
			{"ms-year-by-hour", func() (int, error) {
				rows, err := s.history.SensorAir(b.Context(), "hall-1", noon, s.at(), hour, most)
				return len(rows), err
			}},
			{"ms-year-by-day", func() (int, error) {
				rows, err := s.history.SensorAir(b.Context(), "hall-1", noon, s.at(), day, most)
				return len(rows), err
			}},
		} {
			began := time.Now()
			if rows, err := ask.do(); err != nil || rows == 0 {
				b.Fatal(ask.unit, rows, err)
			}
			b.ReportMetric(float64(time.Since(began).Microseconds())/1000, ask.unit)
		}
	}
}
