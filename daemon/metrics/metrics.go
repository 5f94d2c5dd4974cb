// Package metrics exports the bench to Prometheus. A scrape reads one snapshot and turns it into
// samples. Nothing is stored in between, so that what the bench no longer has is missing from
// the next scrape. A value that is not known is absent, never zero.
//
// Names never change. Each is written out once, in names.go.
package metrics

import (
	"log/slog"
	"net/http"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"potlifed/daemon/view"
)

// Bench is the source of the samples.
type Bench interface {
	// Snapshot returns the newest snapshot. It is not nil and must not be changed. The call does
	// not block.
	Snapshot() *view.Snapshot
}

// Message is a kind of MQTT message that is counted.
type Message struct {
	Direction string // in or out
	Result    string
}

// MQTT is the state of the connection to a broker.
type MQTT struct {
	Broker    string // hall or plant
	Connected bool
	Waiting   int // messages that wait to be sent
	Messages  map[Message]uint64
	Refusals  map[string]uint64 // refusals of the built-in broker, by what was refused; nil where there is none
}

// Stored is a file in which the bench stores its data.
type Stored struct {
	Bytes    int64 // with its log
	Writable bool
}

// Settings are what does not come from the bench.
type Settings struct {
	// Free returns the room on the disk of the bench's data in bytes, nil where it is not known. It must not block.
	Free    func() *int64
	Bench   string // a constant label on every series
	Version string
	// TimeLapse is how many times faster than real time bench time runs. It is 0 outside a demo,
	// where the series is absent.
	TimeLapse float64
	// MQTT returns the state of the connection to each broker. Every scrape calls it, several scrapes at
	// once; it must not block. It is nil while MQTT is off; its series are then absent.
	MQTT func() []MQTT
	// Storage returns the files in which the bench stores its data, by name; it must not wait. nil
	// where there are none.
	Storage func() map[string]Stored
	// Durations are exported with the rest. New makes them where they are nil.
	Durations *Durations
}

// Durations are measured where they happen and not read from a snapshot. They exist before the
// bench does, since the journal is opened first.
type Durations struct {
	readingToPublish prometheus.Histogram
	journalWrite     prometheus.Histogram
}

// Metrics is everything that is exported under /metrics.
type Metrics struct {
	*Durations
	registry *prometheus.Registry
	seq      func() uint64 // of the newest event
}

// NewDurations returns the durations of the named bench, for [Settings].
func NewDurations(bench string) *Durations {
	label := prometheus.Labels{"bench": bench}
	return &Durations{
		readingToPublish: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:        nameReadingToPublish,
			Help:        helpOf[nameReadingToPublish],
			ConstLabels: label,
			// A scale's line should be out within tens of milliseconds on a Pi; past
			// five seconds something is stuck, and how long exactly says no more.
			Buckets: []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5},
		}),
		journalWrite: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:        nameJournalWrite,
			Help:        helpOf[nameJournalWrite],
			ConstLabels: label,
			// A memory card takes 5 to 50 ms; a failing one takes seconds.
			Buckets: []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10},
		}),
	}
}

// New returns the metrics of one bench, in a registry of their own.
func New(settings Settings, bench Bench) *Metrics {
	label := prometheus.Labels{"bench": settings.Bench}
	m := &Metrics{Durations: settings.Durations, registry: prometheus.NewRegistry(), seq: func() uint64 { return bench.Snapshot().Seq }}
	if m.Durations == nil {
		m.Durations = NewDurations(settings.Bench)
	}
	m.registry.MustRegister(newCollector(settings, bench, runtime.Version()), m.readingToPublish, m.journalWrite)
	// Memory, processor time and open files of the daemon cost one look into /proc and show a
	// leak on a machine that runs for years. The collector of the Go runtime's own figures is
	// left out: thirty series that do not help anybody at a press.
	prometheus.WrapRegistererWith(label, m.registry).MustRegister(
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// ObserveReadingToPublish records the time from a reading to its publication. It may be called
// from any goroutine.
func (d *Durations) ObserveReadingToPublish(took time.Duration) {
	d.readingToPublish.Observe(took.Seconds())
}

// ObserveJournalWrite records the time of one commit. It may be called from any goroutine.
func (d *Durations) ObserveJournalWrite(took time.Duration) { d.journalWrite.Observe(took.Seconds()) }

// scrapesAtOnce limits how many scrapes run at once on a small machine.
const scrapesAtOnce = 8

// Handler returns the handler of scrapes, in the Prometheus text format or, on request, in
// OpenMetrics. A sample that cannot be made is logged and left out; the others are still sent.
// Scrapes that come within half a second of each other, with no event between, get the same samples.
func (m *Metrics) Handler(logger *slog.Logger) http.Handler {
	return promhttp.HandlerFor(&shared{from: m.registry, now: time.Now, seq: m.seq}, promhttp.HandlerOpts{
		ErrorLog:            slog.NewLogLogger(logger.Handler(), slog.LevelError),
		ErrorHandling:       promhttp.ContinueOnError,
		EnableOpenMetrics:   true,
		MaxRequestsInFlight: scrapesAtOnce,
	})
}
