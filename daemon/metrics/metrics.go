// Package metrics shows the bench to Prometheus. A scrape reads one snapshot and
// turns it into samples; nothing is remembered in between, so that what is gone from
// the bench is gone from the next scrape. What is not known is absent, never zero.
//
// Names are for ever: each is written out once, in names.go.
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

// Bench is where the samples come from.
type Bench interface {
	// Snapshot is the newest one. It is not nil, does not change and costs nothing.
	Snapshot() *view.Snapshot
}

// Message tells the counted MQTT messages apart.
type Message struct {
	Direction string // in or out
	Result    string
}

// MQTT is how the connection to the broker stands.
type MQTT struct {
	Connected bool
	Waiting   int // messages that wait to be sent
	Messages  map[Message]uint64
	Refusals  map[string]uint64 // of the built-in broker, by what was refused; nil where there is none
}

// Settings are what does not come from the bench.
type Settings struct {
	Bench   string // a constant label on every series
	Version string
	// TimeLapse is how many times faster than real time the bench's time runs; 0
	// outside a demo, where the series is absent.
	TimeLapse float64
	// MQTT tells how the connection stands. It is called in each scrape, by several
	// at once, and must not wait. It is nil while MQTT is off; its series are absent.
	MQTT func() MQTT
	// Durations are shown with the rest. New makes them where they are nil.
	Durations *Durations
}

// Durations are what is measured where it happens, rather than read from a snapshot.
// They exist before the bench does, since the journal is opened first.
type Durations struct {
	readingToPublish prometheus.Histogram
	journalWrite     prometheus.Histogram
}

// Metrics is everything under /metrics.
type Metrics struct {
	*Durations
	registry *prometheus.Registry
}

// NewDurations makes the durations of the named bench, for [Settings].
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

// New makes the metrics of one bench, in a registry of their own.
func New(settings Settings, bench Bench) *Metrics {
	label := prometheus.Labels{"bench": settings.Bench}
	m := &Metrics{Durations: settings.Durations, registry: prometheus.NewRegistry()}
	if m.Durations == nil {
		m.Durations = NewDurations(settings.Bench)
	}
	m.registry.MustRegister(newCollector(settings, bench, runtime.Version()), m.readingToPublish, m.journalWrite)
	// Memory, processor time and open files of the daemon cost one look into /proc and
	// tell a leak on a machine that runs for years. The collector of the Go runtime's
	// own figures is left out: thirty series that nobody at a press can act on.
	prometheus.WrapRegistererWith(label, m.registry).MustRegister(
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// ObserveReadingToPublish counts one published reading. It may be called from any
// goroutine.
func (d *Durations) ObserveReadingToPublish(took time.Duration) {
	d.readingToPublish.Observe(took.Seconds())
}

// ObserveJournalWrite counts one commit of the journal. It may be called from any
// goroutine.
func (d *Durations) ObserveJournalWrite(took time.Duration) { d.journalWrite.Observe(took.Seconds()) }

// scrapesAtOnce bounds what curious clients can cost a small machine.
const scrapesAtOnce = 8

// Handler answers scrapes, in the Prometheus text format or, when asked for it, in
// OpenMetrics. A sample that cannot be made is logged and left out; the others are
// still answered.
func (m *Metrics) Handler(logger *slog.Logger) http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		ErrorLog:            slog.NewLogLogger(logger.Handler(), slog.LevelError),
		ErrorHandling:       promhttp.ContinueOnError,
		EnableOpenMetrics:   true,
		MaxRequestsInFlight: scrapesAtOnce,
	})
}
