package mqtt

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTimeout = 10 * time.Second
	writeTimeout   = 5 * time.Second // also for an acknowledgement
	stopTimeout    = 2 * time.Second // for the last messages of a clean stop
	quiesceMs      = 250
	// subscribeTimeout is for the answer to a subscription. A cluster sets each filter up in all of
	// its nodes, which takes seconds while one of them is away.
	subscribeTimeout = 15 * time.Second
	// unansweredMost is how long a node may acknowledge nothing before another is tried: one without the
	// majority of its cluster can keep its connections and take no message.
	unansweredMost = 15 * time.Second
)

var (
	errNotConnected       = errors.New("not connected")
	errNoAnswer           = fmt.Errorf("the broker did not acknowledge within %v", writeTimeout)
	errNotConnectedInTime = fmt.Errorf("the broker did not answer within %v", connectTimeout)
	errNodeSilent         = errors.New("the node acknowledges nothing; the next address is tried")
	errNotSubscribed      = fmt.Errorf("the broker did not acknowledge within %v", subscribeTimeout)
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
	settings  Settings
	id        string
	addresses *addresses // the first attempt makes it
	// prepare sets the will and the keep-alive, for each attempt again, so that a will
	// carries the time of its connection.
	prepare func(*paho.ClientOptions)
	// subscribe subscribes, before anything is published; nil for none.
	subscribe func(context.Context, paho.Client) error
	// receive gets every message. It must not block: the library calls it in the
	// order of arrival from the goroutine that also answers pings.
	receive func(paho.Message)
	// answerWithin is how long a broker may take to accept a connection; 0 for connectTimeout.
	answerWithin time.Duration
	// unansweredMost is, where it is not 0, in place of the constant.
	unansweredMost time.Duration
	wake           chan<- struct{} // capacity 1: signalled with a new connection and a loss
	log            *slog.Logger

	mu     sync.Mutex
	client paho.Client // nil while there is no connection
	epoch  uint64      // counts connections
	err    error       // why there is none
	// unanswered is when the first message was sent of those that were not acknowledged, with none since that
	// was; zero for none.
	unanswered time.Time
	leave      chan error // capacity 1, of each connection its own: why it is to be ended
}

// run keeps the connection open until the context ends, then closes it cleanly. The caller
// has sent its last messages by then.
func (c *connection) run(ctx context.Context) {
	wait := firstRetry
	var away outage
	for ctx.Err() == nil {
		first := time.Duration(0)
		client, lost, err := c.connect(ctx)
		if err == nil {
			if away.failures > 0 {
				c.log.Info("connected to the broker again", "client", c.id, "address", c.addresses.reached(), "failures", away.failures)
			}
			since := time.Now()
			away = outage{}
			c.set(client, nil)
			select {
			case err = <-lost:
			case err = <-c.leave:
				client.Disconnect(0)
			case <-ctx.Done():
				c.set(nil, errNotConnected)
				client.Disconnect(quiesceMs)
				return
			}
			c.set(nil, err)
			c.log.Warn("connection to the broker lost", "client", c.id, "address", c.addresses.reached(), "err", err)
			if time.Since(since) >= goodConnection {
				wait, first = firstRetry, spread(c.settings.Spread)
			}
		} else if ctx.Err() == nil {
			c.set(nil, err)
			if away.failed(err, time.Now()) {
				c.log.Warn("no connection to the broker", "client", c.id, "url", strings.Join(c.settings.URLs, " "),
					"reached", c.addresses.reached(), "failures", away.failures, "err", err)
			}
		}
		sleep(ctx, first+jitter(wait))
		wait = min(2*wait, longestRetry)
	}
}

// connect makes one attempt. The channel gets the cause once when the connection is lost.
func (c *connection) connect(ctx context.Context) (paho.Client, <-chan error, error) {
	if c.addresses == nil {
		c.addresses = newAddresses(c.settings)
	}
	within := c.answerWithin
	if within == 0 {
		within = connectTimeout
	}
	lost := make(chan error, 1)
	dialing, dialled := context.WithTimeout(ctx, within)
	defer dialled()
	options := paho.NewClientOptions()
	options.Servers = []*url.URL{{Scheme: "mqtt", Host: "broker"}} // the library wants one; dial chooses
	options.SetClientID(c.id).SetUsername(c.settings.Username).SetPassword(c.settings.Password).
		SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(within).SetWriteTimeout(writeTimeout).SetPingTimeout(writeTimeout).
		SetOrderMatters(true). // commands stay in order; receive only queues
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			if c.receive != nil {
				c.receive(m)
			}
		}).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			return c.addresses.dial(dialing)
		})
	c.prepare(options)
	client := paho.NewClient(options)
	token := client.Connect()
	if !token.WaitTimeout(2 * within) {
		client.Disconnect(0)
		return nil, nil, fmt.Errorf("mqtt: connect: %w", errNotConnectedInTime)
	}
	if err := token.Error(); err != nil {
		var network *net.OpError // of the socket, whose time was over: it was closed, or its deadline passed
		if errors.As(err, &network) && network.Op == "read" && ctx.Err() == nil && (network.Timeout() || dialing.Err() != nil) {
			err = errNotConnectedInTime
		}
		return nil, nil, fmt.Errorf("mqtt: connect: %w", err)
	}
	if c.subscribe != nil {
		if err := c.subscribe(ctx, client); err != nil {
			client.Disconnect(quiesceMs)
			return nil, nil, fmt.Errorf("mqtt: subscribe: %w", err)
		}
	}
	return client, lost, nil
}

func (c *connection) set(client paho.Client, err error) {
	c.mu.Lock()
	c.client, c.err = client, err
	if client != nil {
		c.epoch++
		c.unanswered, c.leave = time.Time{}, make(chan error, 1)
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
	began := time.Now()
	deadline := began.Add(timeout)
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
	c.answered(client, messages, errs, began)
	return errs
}

// answered looks which messages that were sent from a time on were acknowledged, and ends the connection to a
// node that has acknowledged none for long, where there is another address.
func (c *connection) answered(client paho.Client, messages []message, errs []error, began time.Time) {
	some, missing := false, false
	for i, m := range messages {
		if m.qos > 0 {
			some, missing = some || errs[i] == nil, missing || errors.Is(errs[i], errNoAnswer)
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.client != client || !some && !missing:
		return
	case some:
		c.unanswered = time.Time{}
		return
	case c.unanswered.IsZero():
		c.unanswered = began
	}
	if time.Since(c.unanswered) >= cmp.Or(c.unansweredMost, unansweredMost) && c.addresses.several() {
		select {
		case c.leave <- errNodeSilent:
		default:
		}
	}
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

// subscribeQoS is the QoS of every subscription. A higher one makes a difference only for a session
// that outlives its connection (MQTT 3.1.1, 3.1.2.4 and 4.3), and these are clean. It has a price: a
// cluster keeps a queue for each such filter, in all of its nodes or in one that may be away, and a
// bench came back from the loss of a node after half a minute instead of seconds.
const subscribeQoS = 0

// subscribeTo subscribes to filters, each at its QoS, in one packet. It returns the filters
// that the broker refused; that is no error, because the states are worth publishing even
// where commands may not be read. The error means that there was no answer.
func subscribeTo(ctx context.Context, client paho.Client, filters map[string]byte) (refused []string, err error) {
	ctx, cancel := context.WithTimeoutCause(ctx, subscribeTimeout, errNotSubscribed)
	defer cancel()
	token := client.SubscribeMultiple(filters, nil)
	select {
	case <-token.Done():
	case <-ctx.Done():
		return nil, context.Cause(ctx)
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
