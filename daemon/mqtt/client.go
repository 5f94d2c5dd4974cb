package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/url"
	"slices"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTimeout = 10 * time.Second
	writeTimeout   = 5 * time.Second // also for an acknowledgement
	stopTimeout    = 2 * time.Second // for the last messages of a clean stop
	quiesceMs      = 250

	firstRetry   = 500 * time.Millisecond
	longestRetry = 15 * time.Second
	// After a connection that lasted this long the next retry is quick again. Resetting
	// the wait at once would make a fast loop with a broker that disconnects us.
	goodConnection = 10 * time.Second
	logEvery       = 5 * time.Minute
)

var (
	errNotConnected = errors.New("not connected")
	errNoAnswer     = fmt.Errorf("the broker did not acknowledge within %v", writeTimeout)
)

// message is one message on its way out.
type message struct {
	topic    string
	qos      byte
	retained bool
	payload  []byte
}

// connection is a connection to the broker that is opened again when it is lost. Every
// attempt has a client of its own. The client library's own reconnecting has three faults:
// it sends what was in flight after the new values, from a store that has no order, so that
// an old retained value could win; it completes the token of such a message without an error
// although nothing was delivered; and a stop cannot interrupt its waiting. Here a lost
// connection fails everything that was in flight, and the owner of a message sends it again
// with the value of that time.
type connection struct {
	settings Settings
	id       string
	// prepare sets the will and the keep-alive, for each attempt again, so that a will
	// carries the time of its connection.
	prepare func(*paho.ClientOptions)
	// subscribe subscribes, before anything is published; nil for none.
	subscribe func(paho.Client) error
	// receive gets every message. It must not block: the library calls it in the
	// order of arrival from the goroutine that also answers pings.
	receive func(paho.Message)
	wake    chan<- struct{} // capacity 1: signalled with a new connection and a loss
	log     *slog.Logger

	mu     sync.Mutex
	client paho.Client // nil while there is no connection
	epoch  uint64      // counts connections
	err    error       // why there is none
}

// run keeps the connection open until the context ends, then closes it cleanly. The caller
// has sent its last messages by then.
func (c *connection) run(ctx context.Context) {
	wait := firstRetry
	logged := time.Time{}
	failures := 0
	for ctx.Err() == nil {
		client, lost, err := c.connect(ctx)
		if err == nil {
			if failures > 0 {
				c.log.Info("connected to the broker again", "client", c.id, "failures", failures)
			}
			since := time.Now()
			failures, logged = 0, time.Time{}
			c.set(client, nil)
			select {
			case err = <-lost:
			case <-ctx.Done():
				c.set(nil, errNotConnected)
				client.Disconnect(quiesceMs)
				return
			}
			c.set(nil, err)
			c.log.Warn("connection to the broker lost", "client", c.id, "err", err)
			if time.Since(since) >= goodConnection {
				wait = firstRetry
			}
		} else if ctx.Err() == nil {
			c.set(nil, err)
			failures++
			if time.Since(logged) >= logEvery {
				logged = time.Now()
				c.log.Warn("no connection to the broker", "client", c.id, "url", c.settings.URL, "failures", failures, "err", err)
			}
		}
		sleep(ctx, jitter(wait))
		wait = min(2*wait, longestRetry)
	}
}

// jitter spreads a wait over ±20 %, so that a thousand benches do not connect to their
// broker again at the same moment.
func jitter(d time.Duration) time.Duration {
	return time.Duration(float64(d) * (0.8 + 0.4*rand.Float64()))
}

func sleep(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// connect makes one attempt. The channel gets the cause once when the connection is lost.
func (c *connection) connect(ctx context.Context) (paho.Client, <-chan error, error) {
	address, err := url.Parse(c.settings.URL)
	if err != nil || address.Host == "" {
		return nil, nil, fmt.Errorf("mqtt: address %q: want mqtt://HOST:PORT", c.settings.URL)
	}
	lost := make(chan error, 1)
	dialing, dialled := context.WithTimeout(ctx, connectTimeout)
	defer dialled()
	options := paho.NewClientOptions()
	options.Servers = []*url.URL{address}
	options.SetClientID(c.id).SetUsername(c.settings.Username).SetPassword(c.settings.Password).
		SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout).SetPingTimeout(writeTimeout).
		SetOrderMatters(true). // commands stay in order; receive only queues
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			if c.receive != nil {
				c.receive(m)
			}
		}).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			return c.dial(dialing, address)
		})
	c.prepare(options)
	client := paho.NewClient(options)
	token := client.Connect()
	if !token.WaitTimeout(2 * connectTimeout) {
		client.Disconnect(0)
		return nil, nil, fmt.Errorf("mqtt: connect: %w", errNoAnswer)
	}
	if err := token.Error(); err != nil {
		return nil, nil, fmt.Errorf("mqtt: connect: %w", err)
	}
	if c.subscribe != nil {
		if err := c.subscribe(client); err != nil {
			client.Disconnect(quiesceMs)
			return nil, nil, fmt.Errorf("mqtt: subscribe: %w", err)
		}
	}
	return client, lost, nil
}

// dial opens the socket. It, and the handshakes after it, end with the context.
func (c *connection) dial(ctx context.Context, address *url.URL) (net.Conn, error) {
	var conn net.Conn
	var err error
	if address.Scheme == "mqtts" {
		dialer := tls.Dialer{Config: c.settings.TLS}
		conn, err = dialer.DialContext(ctx, "tcp", address.Host)
	} else {
		var dialer net.Dialer
		conn, err = dialer.DialContext(ctx, "tcp", address.Host)
	}
	if err != nil {
		return nil, err
	}
	return &abortableConn{Conn: conn, release: context.AfterFunc(ctx, func() { _ = conn.Close() })}, nil
}

// abortableConn is a socket that a stop closes until the handshake is over: the library's
// handshake has no context. It is over when the library first removes a deadline.
type abortableConn struct {
	net.Conn
	release func() bool
}

func (c *abortableConn) SetDeadline(t time.Time) error {
	if t.IsZero() {
		c.release()
	}
	return c.Conn.SetDeadline(t)
}

func (c *connection) set(client paho.Client, err error) {
	c.mu.Lock()
	c.client, c.err = client, err
	if client != nil {
		c.epoch++
	}
	c.mu.Unlock()
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// current returns the number of the open connection, or 0 and why there is none.
func (c *connection) current() (uint64, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.client == nil || !c.client.IsConnectionOpen() {
		return 0, c.err
	}
	return c.epoch, nil
}

// send publishes the messages in their order and waits until the broker has acknowledged
// them, or until the timeout for all together. The result is one error for each message, nil
// where it was acknowledged. A connection that is lost while the library accepts a message
// costs the library's own writeTimeout.
func (c *connection) send(messages []message, timeout time.Duration) []error {
	errs := make([]error, len(messages))
	tokens := make([]paho.Token, len(messages))
	c.mu.Lock()
	client := c.client
	c.mu.Unlock()
	deadline := time.Now().Add(timeout)
	for i, m := range messages {
		if client == nil || !client.IsConnectionOpen() || time.Now().After(deadline) {
			errs[i] = errNotConnected
			continue
		}
		tokens[i] = client.Publish(m.topic, m.qos, m.retained, m.payload)
	}
	for i, token := range tokens {
		switch {
		case token == nil:
		case !token.WaitTimeout(max(time.Until(deadline), time.Millisecond)): // with 0 a completed one may lose
			errs[i] = errNoAnswer
		default:
			errs[i] = token.Error()
		}
	}
	return errs
}

// unsubscribe ends subscriptions. A failure does not matter: a new connection has none.
func (c *connection) unsubscribe(filters []string) {
	c.mu.Lock()
	client := c.client
	c.mu.Unlock()
	if client != nil {
		client.Unsubscribe(filters...).WaitTimeout(writeTimeout)
	}
}

// subscribeTo subscribes to filters, each at its QoS, in one packet. It returns the filters
// that the broker refused; that is no error, because the states are worth publishing even
// where commands may not be read. The error means that there was no answer.
func subscribeTo(client paho.Client, filters map[string]byte) (refused []string, err error) {
	token := client.SubscribeMultiple(filters, nil)
	if !token.WaitTimeout(writeTimeout) {
		return nil, errNoAnswer
	}
	if granted, ok := token.(*paho.SubscribeToken); ok {
		for filter, qos := range granted.Result() {
			if qos >= refusedQoS {
				refused = append(refused, filter)
			}
		}
	}
	if len(refused) > 0 {
		slices.Sort(refused)
		return refused, nil
	}
	return nil, token.Error()
}

// refusedQoS is the return code of a subscription that failed (MQTT 3.1.1, 3.9.3).
const refusedQoS = 0x80
