package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"sync"

	server "github.com/mochi-mqtt/server/v2"
)

// Bounds of the built-in broker. They keep one client that is slow, away or mistaken
// from costing the others more than its own messages.
const (
	// retainedForYears is as good as for ever. The library subtracts wall times to
	// find what has expired, so the default of a day loses every retained state when a
	// clock that started in 1970 is set. Its arithmetic overflows with the largest
	// number there is, and takes messages with a negative expiry for urgent ones.
	retainedForYears = 100
	maxPacketBytes   = 256 << 10
	maxClients       = 256
	maxWritesPending = 4096 // messages per client
	maxInflight      = 4096 // messages per client
	maxSessionS      = 3600 // of a client that is away
	secondsPerYear   = 365 * 24 * 3600
	sysTopicsEveryS  = 30
)

// Broker is the built-in broker, for a bench that has none of its own. It keeps
// nothing on disk: after a restart the daemon's clients connect anew and send every
// retained state again, from the same source that they had it from. A fault of it is a
// fault of the outputs, as that of any broker: the bench does not depend on it.
type Broker struct {
	server *server.Server
	door   *door
	guard  *guard
	once   sync.Once
}

// StartBroker starts the broker on a loopback address, HOST:PORT; port 0 is a free
// one. Guests may read everything and, with commands, publish PREFIX/BENCH/do/VERB.
func StartBroker(ctx context.Context, listen string, topics Topics, commands bool, log *slog.Logger) (*Broker, error) {
	b, err := openBroker(ctx, listen, newGuard(topics, commands, log), log)
	if err != nil {
		return nil, fmt.Errorf("mqtt: built-in broker: %w", err)
	}
	log.Info("built-in broker", "address", b.Addr(), "commands", commands)
	return b, nil
}

func openBroker(ctx context.Context, listen string, g *guard, log *slog.Logger) (*Broker, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", listen)
	if err != nil {
		return nil, err
	}
	if a, ok := l.Addr().(*net.TCPAddr); !ok || !a.IP.IsLoopback() {
		_ = l.Close()
		return nil, fmt.Errorf("%s is not loopback, and it knows no users yet; want 127.0.0.1:PORT", listen)
	}
	limits := server.NewDefaultServerCapabilities()
	limits.MaximumMessageExpiryInterval = retainedForYears * secondsPerYear
	limits.MaximumPacketSize = maxPacketBytes
	limits.MaximumClients = maxClients
	limits.MaximumClientWritesPending = maxWritesPending
	limits.MaximumInflight = maxInflight
	limits.MaximumSessionExpiryInterval = maxSessionS
	b := &Broker{
		server: server.New(&server.Options{
			Capabilities: limits, Logger: slog.New(quiet{log.Handler()}), SysTopicResendInterval: sysTopicsEveryS,
		}),
		door:  newDoor(l, log),
		guard: g,
	}
	err = errors.Join(
		b.server.AddHook(b.guard, nil),
		b.server.AddListener(b.door),
	)
	if err == nil {
		err = b.server.Serve()
	}
	if err != nil {
		b.door.Close(func(string) {})
		return nil, err
	}
	close(b.door.open)
	return b, nil
}

// Addr is the address it listens on, with the port that was chosen.
func (b *Broker) Addr() string { return b.door.Address() }

// Serves reports whether an address, mqtt://HOST:PORT, is that of this broker. A
// configuration may name it so; the daemon's clients are then its own all the same,
// and would be turned away as guests.
func (b *Broker) Serves(address string) bool {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "mqtt" {
		return false
	}
	host, port, err := net.SplitHostPort(b.Addr())
	if err != nil || u.Port() != port {
		return false
	}
	return u.Hostname() == host || strings.EqualFold(u.Hostname(), "localhost")
}

// Own fills in the address and the secret user of the daemon's own clients.
func (b *Broker) Own(s Settings) Settings {
	s.URL, s.TLS = "mqtt://"+b.Addr(), nil
	s.Username, s.Password = b.guard.user, string(b.guard.password)
	return s
}

// Refusals is how often a client was refused something.
func (b *Broker) Refusals() uint64 { return b.guard.refusals() }

// Close disconnects everybody and stops. It may be called more than once.
func (b *Broker) Close() error {
	var err error
	b.once.Do(func() { err = b.server.Close() })
	return err
}

// quiet turns the library's chatter down: it warns of each client that hangs up.
type quiet struct{ slog.Handler }

func (q quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return q.Handler.Enabled(ctx, lowered(level))
}

func (q quiet) Handle(ctx context.Context, r slog.Record) error {
	r.Level = lowered(r.Level)
	return q.Handler.Handle(ctx, r)
}

func (q quiet) WithAttrs(attrs []slog.Attr) slog.Handler { return quiet{q.Handler.WithAttrs(attrs)} }
func (q quiet) WithGroup(name string) slog.Handler       { return quiet{q.Handler.WithGroup(name)} }

func lowered(level slog.Level) slog.Level {
	if level < slog.LevelError {
		return slog.LevelDebug
	}
	return level
}
