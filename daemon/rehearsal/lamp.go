package rehearsal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// lamp is a press's light: a small MQTT client that knows only its topic. It shows the last
// message for as long as that is valid, and otherwise that the state is unknown.
type lamp struct {
	id     string
	broker string // mqtt://HOST:PORT
	clock  *Paced
	story  *story

	connected chan struct{} // gets a value with each connection, and holds one
	heard     chan told
	shown     told
	at        time.Time // when the message that is shown was received, by the lamp's own clock
}

// told is the message that a lamp reads from its topic.
type told struct {
	Meaning    string    `json:"meaning"`
	Colour     string    `json:"colour"`
	Flashing   bool      `json:"flashing"`
	Reason     string    `json:"reason"`
	ValidUntil time.Time `json:"valid_until"`
}

// unknown is what a lamp shows without a valid message.
func unknown(reason string) told {
	return told{Meaning: "unknown", Colour: "yellow", Flashing: true, Reason: reason}
}

// silentFor is the least time, by its own clock, without a message before a lamp stops showing
// the last one. In the time lapse, the ninety seconds of a message's validity pass in a moment,
// and a lamp must not look abandoned because of that.
const silentFor = 5 * time.Second

const (
	lampLooks   = 250 * time.Millisecond
	lampConnect = 10 * time.Second
	lampWrite   = time.Second // how long the library may keep the lamp when a connection breaks at a subscription
)

// run runs the lamp until the context ends.
func (l *lamp) run(ctx context.Context) error {
	l.connected, l.heard = make(chan struct{}, 1), make(chan told, 16)
	client, err := l.connect()
	if err != nil {
		return err
	}
	defer client.Disconnect(100)
	l.show(unknown("nothing heard yet"))
	look := time.NewTicker(lampLooks)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-l.connected: // subscribed here and not in the library's handler, which Disconnect does not wait for
			client.Subscribe(l.topic(), 1, func(_ paho.Client, m paho.Message) { l.hear(ctx, m.Payload()) })
		case t := <-l.heard:
			l.at = time.Now()
			l.show(t)
		case <-look.C:
			if l.expired() {
				l.show(unknown("nothing heard for too long"))
			}
		}
	}
}

// expired reports whether bench time has passed the validity of the message, and no message has
// come for silentFor.
func (l *lamp) expired() bool {
	return l.clock.Now().Wall.After(l.shown.ValidUntil) && time.Since(l.at) > silentFor
}

// show changes the lamp, and prints it when the meaning is another one.
func (l *lamp) show(t told) {
	was := l.shown
	l.shown = t
	if was.Meaning == t.Meaning && was.Colour == t.Colour {
		return
	}
	how := ""
	if t.Flashing {
		how = ", flashing"
	}
	l.story.tell("%s shows %s: %s, %s%s (%s)", l.id, t.Meaning, t.Colour, shape(t.Meaning), how, t.Reason)
}

// shape returns the form of a meaning's sign, so that colour is never the only sign.
func shape(meaning string) string {
	switch meaning {
	case "do-not-print":
		return "octagon"
	case "act":
		return "square"
	case "soon":
		return "triangle"
	case "in-order":
		return "disc"
	case "empty":
		return "ring"
	}
	return "diamond"
}

func (l *lamp) topic() string { return prefix + "/" + benchName + "/light/" + l.id }

func (l *lamp) connect() (paho.Client, error) {
	address, err := url.Parse(l.broker)
	if err != nil {
		return nil, fmt.Errorf("%s: broker %q: %w", l.id, l.broker, err)
	}
	options := paho.NewClientOptions()
	options.Servers = []*url.URL{address}
	options.SetClientID("lamp-" + l.id).SetConnectTimeout(lampConnect).SetWriteTimeout(lampWrite).
		SetOnConnectHandler(func(paho.Client) {
			select {
			case l.connected <- struct{}{}:
			default:
			}
		})
	client := paho.NewClient(options)
	token := client.Connect()
	if !token.WaitTimeout(lampConnect) {
		err = errors.New("the broker does not answer")
	} else {
		err = token.Error()
	}
	if err != nil {
		client.Disconnect(0)
		return nil, fmt.Errorf("%s: connect to %s: %w", l.id, l.broker, err)
	}
	return client, nil
}

// hear takes a message. A message that the lamp cannot read is ignored.
func (l *lamp) hear(ctx context.Context, payload []byte) {
	var t told
	if json.Unmarshal(payload, &t) != nil || t.Meaning == "" {
		return
	}
	select {
	case l.heard <- t:
	case <-ctx.Done():
	}
}
