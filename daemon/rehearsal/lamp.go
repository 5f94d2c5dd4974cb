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

// lamp is a press's light: a small MQTT client that knows its topic and no more. It
// shows what it was told for as long as that is valid, and else that it does not know.
type lamp struct {
	id     string
	broker string // mqtt://HOST:PORT
	clock  *Paced
	story  *story

	heard chan told
	shown told
	at    time.Time // when what is shown was heard, by the lamp's own clock
}

// told is what a lamp reads of its topic.
type told struct {
	Meaning    string    `json:"meaning"`
	Colour     string    `json:"colour"`
	Flashing   bool      `json:"flashing"`
	Reason     string    `json:"reason"`
	ValidUntil time.Time `json:"valid_until"`
}

// unknown is what a lamp shows of its own accord.
func unknown(reason string) told {
	return told{Meaning: "unknown", Colour: "yellow", Flashing: true, Reason: reason}
}

// silentFor is how long at least, by its own clock, a lamp hears nothing before it
// gives up what it shows. The ninety seconds that it may show it for pass in a blink of
// the time lapse, and a lamp is not to look abandoned for that alone.
const silentFor = 5 * time.Second

const (
	lampLooks   = 250 * time.Millisecond
	lampConnect = 10 * time.Second
)

// run is the lamp's life. It ends with the context.
func (l *lamp) run(ctx context.Context) error {
	l.heard = make(chan told, 16)
	client, err := l.connect(ctx)
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

// expired: the bench's time has passed what is shown by, and it is really quiet.
func (l *lamp) expired() bool {
	return l.clock.Now().Wall.After(l.shown.ValidUntil) && time.Since(l.at) > silentFor
}

// show changes the lamp, and tells when it means something else.
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

// shape is the form of a meaning's sign, so that colour never says it alone.
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

func (l *lamp) connect(ctx context.Context) (paho.Client, error) {
	address, err := url.Parse(l.broker)
	if err != nil {
		return nil, fmt.Errorf("%s: broker %q: %w", l.id, l.broker, err)
	}
	topic := prefix + "/" + benchName + "/light/" + l.id
	options := paho.NewClientOptions()
	options.Servers = []*url.URL{address}
	options.SetClientID("lamp-" + l.id).SetConnectTimeout(lampConnect).SetWriteTimeout(lampConnect).
		SetOnConnectHandler(func(c paho.Client) {
			c.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) { l.hear(ctx, m.Payload()) })
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

// hear takes a message. One that it cannot read is no word for the lamp.
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
