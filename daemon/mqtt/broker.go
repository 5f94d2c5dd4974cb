package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"potlifed/daemon/config"
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
	maxWritesPending = 1024 // messages per client
	maxInflight      = 1024 // messages per client
	maxSessionS      = 3600 // of a client that is away
	lookAtMembers    = 2 * time.Second
	secondsPerYear   = 365 * 24 * 3600
	sysTopicsEveryS  = 30
)

// Broker is the built-in broker, for a bench that has none of its own. What the daemon
// says is never kept on disk: after a restart its clients connect anew and send every
// retained state again, from the same source that they had it from. A fault of it is a
// fault of the outputs, as that of any broker: the bench does not depend on it.
type Broker struct {
	server  *server.Server
	door    *door
	guard   *guard
	shows   *tls.Certificate // nil without TLS
	once    sync.Once
	closing chan struct{}
	watched sync.WaitGroup
}

// BrokerSettings say where the built-in broker listens and whom it lets do what.
type BrokerSettings struct {
	// Listen is HOST:PORT; port 0 is a free one. On loopback everybody on the computer
	// may come in as a guest, elsewhere a user is asked for.
	Listen   string
	Topics   Topics
	Commands bool     // whether commands are taken at all
	Lights   []Light  // whose topics users may be restricted to
	Users    Users    // nil for none
	Retained Retained // where retained messages of others are kept; nil for nowhere
	// Certificate, where there is one, makes it speak TLS and nothing else.
	Certificate *tls.Certificate
}

// StartBroker starts the broker.
func StartBroker(ctx context.Context, s BrokerSettings, log *slog.Logger) (*Broker, error) {
	b, err := openBroker(ctx, s, newGuard(s, log), log)
	if err != nil {
		return nil, fmt.Errorf("mqtt: built-in broker: %w", err)
	}
	log.Info("built-in broker", "address", b.Addr(), "guests", b.guard.guests, "commands", s.Commands)
	return b, nil
}

func limits() *server.Capabilities {
	limits := server.NewDefaultServerCapabilities() // a literal would forbid what it leaves out
	limits.MaximumMessageExpiryInterval = retainedForYears * secondsPerYear
	limits.MaximumPacketSize = maxPacketBytes
	limits.MaximumClients = maxClients
	limits.MaximumClientWritesPending = maxWritesPending
	limits.MaximumInflight = maxInflight
	limits.MaximumSessionExpiryInterval = maxSessionS
	limits.TopicAliasMaximum = 0 // each would be remembered, before anybody is asked whether it may be written
	return limits
}

func openBroker(ctx context.Context, s BrokerSettings, g *guard, log *slog.Logger) (*Broker, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", s.Listen)
	if err != nil {
		return nil, err
	}
	if s.Certificate != nil {
		// The handshake is made with the first read, and so within handshakeTimeout.
		l = tls.NewListener(l, &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{*s.Certificate}})
	}
	a, ok := l.Addr().(*net.TCPAddr)
	g.guests = ok && a.IP.IsLoopback()
	b := &Broker{
		server: server.New(&server.Options{
			Capabilities: limits(), Logger: slog.New(quiet{log.Handler()}), SysTopicResendInterval: sysTopicsEveryS,
		}),
		door:    newDoor(l, log),
		guard:   g,
		shows:   s.Certificate,
		closing: make(chan struct{}),
	}
	b.door.disconnect = b.disconnect
	g.begin(b.server)
	err = errors.Join(
		b.server.AddHook(b.guard, nil),
		b.server.AddListener(b.door),
	)
	b.restore(ctx, s)
	if err == nil {
		err = b.server.Serve()
	}
	if err != nil {
		b.door.Close(func(string) {})
		return nil, err
	}
	close(b.door.open)
	b.watched.Go(b.watch)
	return b, nil
}

// disconnect ends the sessions of all clients that came in over the network.
func (b *Broker) disconnect() {
	for _, client := range b.server.Clients.GetAll() {
		if client.Net.Listener == b.door.ID() && !client.Closed() {
			_ = b.server.DisconnectClient(client, packets.ErrServerShuttingDown)
		}
	}
}

// watch looks after the members, and brings to disk what is to be kept.
func (b *Broker) watch() {
	look, store := time.NewTicker(lookAtMembers), time.NewTicker(keepEvery)
	defer look.Stop()
	defer store.Stop()
	for {
		select {
		case <-look.C:
			b.guard.look(b.server)
		case <-store.C:
			b.guard.keeper.store()
		case <-b.closing:
			return
		}
	}
}

// Addr is the address it listens on, with the port that was chosen.
func (b *Broker) Addr() string { return b.door.Address() }

// Serves reports whether an address, mqtt://HOST:PORT or mqtts://HOST:PORT, is that of this broker. A
// configuration may name it so; the daemon's clients are then its own all the same,
// and would be turned away as guests.
func (b *Broker) Serves(address string) bool {
	return config.ListensOn(b.Addr(), b.shows != nil, address, OwnAddresses())
}

// OwnAddresses returns the addresses of this computer's network interfaces, none when the
// system does not say.
func OwnAddresses() []net.IP {
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var own []net.IP
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok {
			own = append(own, n.IP)
		}
	}
	return own
}

// Own fills in the address and the secret user of the daemon's own clients.
func (b *Broker) Own(s Settings) Settings {
	s.URL, s.TLS = "mqtt://"+b.reach(), nil
	if b.shows != nil {
		s.URL, s.TLS = "mqtts://"+b.reach(), trustsOnly(b.shows.Certificate[0])
	}
	s.Username, s.Password = b.guard.name, string(b.guard.password)
	s.inside = b
	return s
}

// reach is an address at which the broker can be reached from this computer.
func (b *Broker) reach() string {
	host, port, err := net.SplitHostPort(b.Addr())
	if err == nil && net.ParseIP(host).IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return b.Addr()
}

// Refusals is how often a client was refused something, by what: connect, subscribe,
// publish or will.
func (b *Broker) Refusals() map[string]uint64 { return b.guard.refusals() }

// Close disconnects everybody and stops. It may be called more than once.
func (b *Broker) Close() error {
	var err error
	b.once.Do(func() {
		close(b.closing)
		b.watched.Wait()
		err = b.server.Close()
		b.guard.keeper.store()
	})
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
