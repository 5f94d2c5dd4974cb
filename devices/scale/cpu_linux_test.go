package scale_test

import (
	"context"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/devices/simulate"
	"potlifed/model/weigh"
)

// cpuTime is the processor time that this process has used.
func cpuTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// The cost of two scales with ten lines a second each over pseudo-terminals, their simulators
// included. Budget on a Raspberry Pi: 1 % of a core.
func BenchmarkTwoScalesForASecond(b *testing.B) {
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 4)
	var readings atomic.Int64
	for range 2 {
		s, err := simulate.NewScale(simulate.ScaleOptions{Dir: b.TempDir()})
		if err != nil {
			b.Fatal(err)
		}
		reader, err := scale.New(scale.Config{Link: link.Settings{Port: s.Port()}})
		if err != nil {
			b.Fatal(err)
		}
		go func() { ended <- s.Run(ctx) }()
		go func() {
			ended <- reader.Run(ctx, scale.Sink{Reading: func(weigh.Reading) { readings.Add(1) }})
		}()
	}
	time.Sleep(time.Second) // auto finds the shape
	before, began := cpuTime(b), time.Now()
	readings.Store(0)
	for b.Loop() {
		time.Sleep(time.Second)
	}
	b.ReportMetric(100*float64(cpuTime(b)-before)/float64(time.Since(began)), "%core")
	b.ReportMetric(float64(readings.Load())/time.Since(began).Seconds(), "lines/s")
	stop()
	for range 4 {
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}
}
