// Package broker is the built-in MQTT broker, for a bench that has no broker of its own.
// It decides who may connect, read and write; the MQTT protocol itself is a library's.
//
// Nothing that the daemon publishes is kept on disk. After a restart its clients connect
// again and publish every retained state from the state of the bench. A fault of the
// broker is a fault of the outputs, as with any broker: the bench does not depend on it.
package broker

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
	"potlifed/daemon/topics"
)

// Limits of the broker. They keep one client that is slow, disconnected or faulty from
// costing the others more than its own messages.
const (
	// retainedExpiryYears is practically for ever. The library subtracts wall times to
	// find what has expired, so its default of a day would lose every retained message
	// when a clock that started in 1970 is set. Its arithmetic overflows with the largest
	// number there is, and it sends messages with a negative expiry before all others.
	retainedExpiryYears = 100
	maxPacketBytes      = 256 << 10
	maxClients          = 256
	maxWritesPending    = 1024 // messages per client
	maxInflight         = 1024 // messages per client
	maxSessionS         = 3600 // seconds that the session of a disconnected client is kept
	rightsCheckEvery    = 2 * time.Second
	secondsPerYear      = 365 * 24 * 3600
	sysTopicsEveryS     = 30
)

// Broker is a running broker.
type Broker struct {
	server      *server.Server
	listener    *listener
	access      *accessHook
	certificate *certificate // nil without TLS
	once        sync.Once
	closing     chan struct{}
	maintained  sync.WaitGroup
}

// Settings say where the broker listens and who may do what.
type Settings struct {
	// Listen is HOST:PORT; port 0 chooses a free one. On a loopback address clients
	// without a user are accepted as guests; elsewhere every client needs a user.
	Listen   string
	Topics   topics.Topics
	Commands bool    // whether commands are accepted at all
	Lights   []Light // lights whose topics users may be restricted to
	// Sensors are the topics on which sensors publish: guests, and users who may report, may write
	// them.
	Sensors []string
	Users   Users // nil for none
	// Retained is where retained messages of others are kept over a restart; nil for nowhere.
	Retained RetainedStore
	// Certificate, if not nil, makes the broker accept TLS connections only.
	Certificate *tls.Certificate
	// ReadCertificate, if not nil, reads it again at each handshake: it may have been renewed.
	ReadCertificate func() (*tls.Certificate, error)
	// Password is that of the daemon's own clients; a random one where it is empty.
	Password string
}

// Light is a light as far as it concerns the rights of users.
type Light struct {
	ID string
	// Topic is that of a lamp with a topic of its own, and Confirms the topic on which a
	// lamp confirms what it shows; either may be empty.
	Topic, Confirms string
}

// Start starts a broker. The error says why it cannot listen or start.
func Start(ctx context.Context, s Settings, log *slog.Logger) (*Broker, error) {
	b, err := open(ctx, s, log)
	if err != nil {
		return nil, fmt.Errorf("built-in broker: %w", err)
	}
	log.Info("built-in broker", "address", b.Addr(), "guests", b.access.guests, "commands", s.Commands)
	return b, nil
}

func limits() *server.Capabilities {
	limits := server.NewDefaultServerCapabilities() // a literal would forbid what it leaves out
	limits.MaximumMessageExpiryInterval = retainedExpiryYears * secondsPerYear
	limits.MaximumPacketSize = maxPacketBytes
	limits.MaximumClients = maxClients
	limits.MaximumClientWritesPending = maxWritesPending
	limits.MaximumInflight = maxInflight
	limits.MaximumSessionExpiryInterval = maxSessionS
	limits.TopicAliasMaximum = 0 // each alias would be stored before the right to write is checked
	return limits
}

func open(ctx context.Context, s Settings, log *slog.Logger) (*Broker, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", s.Listen)
	if err != nil {
		return nil, err
	}
	var own *certificate
	if s.Certificate != nil {
		own = &certificate{read: s.ReadCertificate, log: log, newest: s.Certificate}
		// The handshake happens with the first read, and so within handshakeTimeout.
		l = tls.NewListener(l, &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: own.get})
	}
	b := &Broker{
		server: server.New(&server.Options{
			Capabilities: limits(), Logger: slog.New(debugHandler{log.Handler()}), SysTopicResendInterval: sysTopicsEveryS,
		}),
		listener:    newListener(l, log),
		certificate: own,
		closing:     make(chan struct{}),
	}
	b.access = newAccessHook(s, b.server, log)
	a, ok := l.Addr().(*net.TCPAddr)
	b.access.guests = ok && a.IP.IsLoopback()
	b.listener.disconnect = b.disconnect
	err = errors.Join(
		b.server.AddHook(b.access, nil),
		b.server.AddListener(b.listener),
	)
	b.restoreRetained(ctx, s)
	if err == nil {
		err = b.server.Serve()
	}
	if err != nil {
		b.listener.Close(func(string) {})
		return nil, err
	}
	close(b.listener.ready)
	b.maintained.Go(b.maintain)
	return b, nil
}

// disconnect ends the sessions of all clients that came in over the network.
func (b *Broker) disconnect() {
	for _, client := range b.server.Clients.GetAll() {
		if client.Net.Listener == b.listener.ID() && !client.Closed() {
			_ = b.server.DisconnectClient(client, packets.ErrServerShuttingDown)
		}
	}
}

// maintain checks the rights of connected clients and stores retained messages, each at
// intervals, until the broker is closed.
func (b *Broker) maintain() {
	rights, store := time.NewTicker(rightsCheckEvery), time.NewTicker(storeEvery)
	defer rights.Stop()
	defer store.Stop()
	for {
		select {
		case <-rights.C:
			b.access.checkConnections()
		case <-store.C:
			b.access.retained.store()
		case <-b.closing:
			return
		}
	}
}

// Addr returns the address on which the broker listens, HOST:PORT, with the port that was
// chosen.
func (b *Broker) Addr() string { return b.listener.Address() }

// Serves reports whether an address, mqtt://HOST:PORT or mqtts://HOST:PORT, is that of this
// broker. A configuration may give it as the address to connect to; the daemon's clients
// then use the credentials of OwnClients all the same, or the broker would treat them as
// guests.
func (b *Broker) Serves(address string) bool {
	return config.ListensOn(b.Addr(), b.certificate != nil, address, OwnAddresses())
}

// OwnAddresses returns the addresses of this computer's network interfaces, none where the
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

// Credentials are what a client needs to connect as the daemon.
type Credentials struct {
	URL                string      // mqtt://HOST:PORT or mqtts://HOST:PORT
	TLS                *tls.Config // for mqtts
	Username, Password string
}

// OwnClients returns the credentials of the daemon's own clients. No user of the broker can
// have them.
func (b *Broker) OwnClients() Credentials {
	c := Credentials{URL: "mqtt://" + b.localAddress(), Username: b.access.ownName, Password: b.access.ownPassword}
	if b.certificate != nil {
		c.URL, c.TLS = "mqtts://"+b.localAddress(), trustOnly(b.certificate.der)
	}
	return c
}

// localAddress returns an address at which this computer can reach the broker.
func (b *Broker) localAddress() string {
	host, port, err := net.SplitHostPort(b.Addr())
	if err == nil && net.ParseIP(host).IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return b.Addr()
}

// OnCommand sets the function that gets every command that a client gives, with the user
// who gave it: a message of MQTT 3.1.1 does not say who published it, so the daemon does
// not read commands from this broker by subscription. The function is called from several
// goroutines and must not block.
func (b *Broker) OnCommand(deliver func(Command)) { b.access.deliver.Store(&deliver) }

// Refusals returns how often a client was refused something, by action: connect, subscribe,
// publish or will.
func (b *Broker) Refusals() map[string]uint64 { return b.access.refusalCounts() }

// Close disconnects every client and stops the broker. It may be called more than once.
func (b *Broker) Close() error {
	var err error
	b.once.Do(func() {
		close(b.closing)
		b.maintained.Wait()
		err = b.server.Close()
		b.access.retained.store()
	})
	return err
}

// debugHandler logs the library's warnings at the debug level: it warns of each client that
// disconnects without saying so.
type debugHandler struct{ slog.Handler }

func (h debugHandler) Enabled(ctx context.Context, level slog.Level) bool {
	return h.Handler.Enabled(ctx, lowered(level))
}

func (h debugHandler) Handle(ctx context.Context, r slog.Record) error {
	r.Level = lowered(r.Level)
	return h.Handler.Handle(ctx, r)
}

func (h debugHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return debugHandler{h.Handler.WithAttrs(attrs)}
}
func (h debugHandler) WithGroup(name string) slog.Handler {
	return debugHandler{h.Handler.WithGroup(name)}
}

func lowered(level slog.Level) slog.Level {
	if level < slog.LevelError {
		return slog.LevelDebug
	}
	return level
}
