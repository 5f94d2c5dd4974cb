// Package web is the bench's HTTP side: the API under /api/v1, its description, the
// stream of changes, the pages, and what supervisors ask. It reads snapshots and the
// journal and hands changes to the bench; it decides nothing about batches.
//
// A slow or hostile client costs the bench nothing: a reader gets the newest
// snapshot when it is ready for it, and every body, header, list and stream is
// bounded in size, number or time.
package web

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/prometheus/exporter-toolkit/web"

	"potlifed/daemon/access"
	"potlifed/daemon/describe"
	"potlifed/daemon/history"
	"potlifed/daemon/neighbours"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/quota"
	"potlifed/daemon/reference"
	"potlifed/daemon/report"
	"potlifed/daemon/request"
	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/daemon/web/page"
	"potlifed/daemon/words"
	"potlifed/model/cure"
)

// Bench is what the API shows and changes. All methods may be called from any
// goroutine.
type Bench interface {
	// Snapshot returns the newest snapshot. It is never nil and never changes.
	Snapshot() *view.Snapshot
	// Watch returns a channel that gets a signal after each new snapshot. A reader that is late
	// gets one signal for all that it missed. stop ends the signals.
	Watch() (signal <-chan struct{}, stop func())
	// Do makes a change and returns once it is on disk. The error is a
	// [*request.Refusal], or that of ctx.
	Do(ctx context.Context, r request.Request) (request.Reply, error)
	// Recipe says what a mix would come to before it is begun. It changes nothing and does not wait.
	// The error is a [*request.Refusal].
	Recipe(c request.StartMix) (view.Recipe, error)
}

// Journal reads past events and past air. The errors are those of reading.
type Journal interface {
	// Events returns at most limit events after the event of the given number, oldest first.
	Events(ctx context.Context, after uint64, limit int) ([]view.Event, error)
	// History returns the closed air steps of a zone, oldest first.
	History(ctx context.Context, zone string, from, to time.Time) ([]cure.PastStep, error)
	trace.Journal
}

// Check is what readiness depends on: a device, the journal, the broker.
type Check struct {
	Name   string `json:"name"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail,omitempty"`
}

// Settings say where and to whom the server answers.
type Settings struct {
	Listen        string   // host:port
	Hosts         []string // host names answered to beyond loopback and the server's own address
	WebConfigFile string   // TLS and basic authentication in the exporter-toolkit format; may be empty
	PublicURL     string   // where the pages are reached, for the code on a label; may be empty
	Version       string   // of the program, in the API's description
	Access        *access.Store
	Events        []describe.EventKind // the kinds of events, for the API's description
	// Learn fits the shop's inks to how their batches ended. It takes its time.
	Learn func(ctx context.Context) ([]outcomes.Learned, error)
	// Study answers from the history; nil where there is none.
	Study Study
	// Report makes a report, as [report.Write] does, which is called where it is nil.
	Report func(context.Context, io.Writer, report.Sources, report.Request) error
	// Neighbours are other benches as they are known now; nil where none are shown. It must
	// not wait.
	Neighbours func() []neighbours.Bench
	Locale     words.Locale // how pages and labels are written
	// History is what is stored for years; nil where there is none.
	History *history.History
	// Storage returns the files in which the bench stores its data. It must not wait.
	Storage func() []Stored
	// Free returns the room on the disk of these files in bytes, nil where it is not known. It must not wait.
	Free func() *int64
}

// Server answers HTTP.
type Server struct {
	settings Settings
	bench    Bench
	journal  Journal
	ends     *trace.Ends
	ready    func() []Check
	log      *slog.Logger
	handler  http.Handler
	pages    *page.Pages
	now      func() time.Time // by which sessions end and guesses at the PIN come back
	shut     atomic.Bool      // nobody gets in, which was logged

	pace    pace
	streams *quota.Quota  // of open streams
	feed    *feed         // what they are sent
	bodies  chan struct{} // one token for each long body that is being read

	bodyWithin time.Duration // in which a body has to arrive

	stopping chan struct{} // closed when the server stops, so that streams end
	serving  chan struct{} // closed once connections are taken in
	stop     sync.Once
}

// New makes a server. The handler metrics answers /metrics; ready is asked by
// /readyz and must not wait.
func New(settings Settings, bench Bench, journal Journal, metrics http.Handler, ready func() []Check, logger *slog.Logger) (*Server, error) {
	s := &Server{
		settings: settings, pages: page.In(settings.Locale), bench: bench, journal: journal, ends: trace.NewEnds(journal), ready: ready, log: logger, now: time.Now,
		pace: usualPace, streams: quota.New(streamsAtOnce, streamsOfOne), feed: newFeed(),
		bodies: make(chan struct{}, bodiesAtOnce), bodyWithin: bodyWithin, stopping: make(chan struct{}), serving: make(chan struct{}),
	}
	if s.settings.Neighbours == nil {
		s.settings.Neighbours = func() []neighbours.Bench { return nil }
	}
	api, err := s.api()
	if err != nil {
		return nil, fmt.Errorf("web: %w", err)
	}
	mux := http.NewServeMux()
	mux.Handle("/api/", api)
	mux.Handle("/openapi.json", api)
	mux.Handle("/asyncapi.json", api)
	mux.Handle("/metrics", s.readOnly(metrics))
	mux.Handle("/healthz", s.readOnly(http.HandlerFunc(healthz)))
	mux.Handle("/readyz", s.readOnly(http.HandlerFunc(s.readyz)))
	mux.Handle("/batches/{id}/label", s.readOnly(http.HandlerFunc(s.labelPage)))
	mux.Handle("/batches/{id}/label.svg", s.readOnly(http.HandlerFunc(s.labelSVG)))
	mux.Handle("/report", s.readOnly(http.HandlerFunc(s.report)))
	mux.Handle("/checks/{id}", s.readOnly(http.HandlerFunc(s.checkRecord)))
	mux.Handle("/reference", s.readOnly(reference.Handler()))
	mux.Handle("/reference.css", s.readOnly(reference.Handler()))
	mux.Handle("/", s.readOnly(s.pages.Handler()))
	s.handler = s.protect(mux)
	return s, nil
}

// Handler is the whole server without its listener.
func (s *Server) Handler() http.Handler { return s.handler }

// Listen opens the configured address, for Serve. A web_config_file that cannot be used is
// an error, so that it is known before anything is served.
func (s *Server) Listen(ctx context.Context) (net.Listener, error) {
	if err := CheckConfigFile(s.settings.WebConfigFile); err != nil {
		return nil, err
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", s.settings.Listen)
	if err != nil {
		return nil, fmt.Errorf("http.listen %s: %w; end the program that uses that port, or choose another", s.settings.Listen, err)
	}
	return l, nil
}

// CheckConfigFile returns why a web_config_file cannot be used, nil when it can or the
// path is empty.
func CheckConfigFile(path string) error {
	if err := web.Validate(path); err != nil {
		return fmt.Errorf("http.web_config_file %s: %w; mend the file, or leave the key out", path, err)
	}
	return nil
}

// TLSFiles returns the pages' own certificate that a web configuration file names, and the certificate
// authorities of clients. They are empty where it names none or cannot be read; both are read again at
// each connection. Such a file may also ask for passwords alone.
func TLSFiles(path string) (certificate, clientAuthorities string) {
	text, err := os.ReadFile(path)
	if err != nil {
		return "", ""
	}
	var page struct {
		TLS struct {
			CertFile string `yaml:"cert_file"`
			ClientCA string `yaml:"client_ca_file"`
		} `yaml:"tls_server_config"`
	}
	if yaml.Unmarshal(text, &page) != nil {
		return "", ""
	}
	in := func(file string) string { // paths are relative to the file's folder
		if file == "" || filepath.IsAbs(file) {
			return file
		}
		return filepath.Join(filepath.Dir(path), file)
	}
	return in(page.TLS.CertFile), in(page.TLS.ClientCA)
}

// Serving returns a channel that is closed when the server begins to accept connections.
func (s *Server) Serving() <-chan struct{} { return s.serving }

// announcing is a listener that tells when connections are first waited for.
type announcing struct {
	net.Listener
	once    sync.Once
	serving chan struct{}
}

// Accept waits for the next connection and returns it. The first call closes a.serving. The
// error is that of the listener.
func (a *announcing) Accept() (net.Conn, error) {
	a.once.Do(func() { close(a.serving) })
	return a.Listener.Accept()
}

const (
	headerWithin  = 10 * time.Second
	bodyWithin    = 10 * time.Second
	bodiesAtOnce  = 16
	answerWithin  = 30 * time.Second // streams renew theirs with each event
	idleAtMost    = 30 * time.Second
	headerBytes   = 32 << 10
	stopsWithin   = 5 * time.Second
	changeWithin  = 15 * time.Second
	streamsAtOnce = 256
	streamsOfOne  = 16
	// A browser opens six connections at most, a phone's pages share one stream.
	connectionsAtOnce = 512
	connectionsOfOne  = 48
	bodyBytes         = 1 << 20
	sessionBytes      = 1 << 10
	keyCharacters     = 200
	eventsAtOnce      = 1000
	historyRows       = 20_000
	historyAtMost     = 31 * 24 * time.Hour
	historyDefault    = 24 * time.Hour
)

// Serve answers on the listener, which it closes, until ctx ends. It may be called
// once. Streams are ended and changes under way are finished before it returns; what
// takes longer than a few seconds is cut off.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	defer l.Close()
	server := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: headerWithin,
		// It bounds the body of a request that is refused before protect is reached, as
		// for a wrong password of the web_config_file. protect sets the deadline of every
		// other request.
		ReadTimeout:    s.bodyWithin,
		WriteTimeout:   answerWithin,
		IdleTimeout:    idleAtMost,
		MaxHeaderBytes: headerBytes,
		ErrorLog:       slog.NewLogLogger(s.log.Handler(), slog.LevelWarn),
	}
	none := false
	addresses := []string{l.Addr().String()}
	flags := &web.FlagConfig{
		WebListenAddresses: &addresses, WebSystemdSocket: &none, WebConfigFile: &s.settings.WebConfigFile,
	}
	served := make(chan error, 1)
	go func() {
		served <- web.Serve(&announcing{Listener: quota.New(connectionsAtOnce, connectionsOfOne).Listen(l), serving: s.serving}, server, flags, s.log)
	}()
	select {
	case err := <-served:
		s.stop.Do(func() { close(s.stopping) })
		server.Close()
		return fmt.Errorf("web: serve on %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	s.stop.Do(func() { close(s.stopping) })
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopsWithin)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		s.log.Warn("requests cut off", "err", err)
		server.Close()
	}
	<-served
	return nil
}
