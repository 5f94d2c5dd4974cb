package instruments

import (
	"context"
	"errors"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/model/air"
	"potlifed/model/health"
)

func TestASensorThatSendsLines(t *testing.T) {
	h := newHeard()
	c := config.Sensor{ID: "probe", Source: config.Lines, Port: streams(t, "T:21.5 RH:48.3\r\n"), Line: "T:{temperature} RH:{humidity}", Every: 10 * time.Millisecond}
	runs(t, config.Shop{Sensors: []config.Sensor{c}}, h)
	h.until(t, "readings", func() bool {
		return h.reads["probe"] > 3 && h.read["probe"].Err == nil && h.read["probe"].Air == air.State{TemperatureC: 21.5, HumidityPct: 48.3}
	})
	s, err := OpenSensor(c)
	if err != nil {
		t.Fatal(err)
	}
	if a, err := ReadSensor(t.Context(), s); err != nil || a.TemperatureC != 21.5 || s.(interface{ Raw() string }).Raw() != "T:21.5 RH:48.3" {
		t.Errorf("once: %+v, %v", a, err)
	}
}

// A sensor that speaks only when it is asked: its readings are those after a request, and it is asked
// by a check too, whatever its interval.
func TestASensorThatIsAsked(t *testing.T) {
	h := newHeard()
	port, asked := answers(t, "RD\r\n", "T:21.5 RH:48.3\r\n")
	c := config.Sensor{ID: "probe", Source: config.Lines, Port: port, Line: "T:{temperature} RH:{humidity}", Request: "RD\r\n", Every: 50 * time.Millisecond}
	runs(t, config.Shop{Sensors: []config.Sensor{c}}, h)
	h.until(t, "readings", func() bool {
		return h.reads["probe"] > 3 && h.read["probe"].Err == nil && h.read["probe"].Air == air.State{TemperatureC: 21.5, HumidityPct: 48.3}
	})
	before := asked.Load()
	if before < 4 {
		t.Errorf("it answered %d times, and 4 readings came", before)
	}
	c.Every = time.Hour
	s, err := OpenSensor(c)
	if err != nil {
		t.Fatal(err)
	}
	if a, err := ReadSensor(t.Context(), s); err != nil || a.TemperatureC != 21.5 {
		t.Errorf("once: %+v, %v", a, err)
	}
}

// A sensor whose lines do not fit, and one that is not there, have each a fault in each interval.
func TestFaultsOfLines(t *testing.T) {
	h := newHeard()
	runs(t, config.Shop{Sensors: []config.Sensor{
		{ID: "odd", Source: config.Lines, Port: streams(t, "hello\r\n"), Line: "T:{temperature} RH:{humidity}", Every: 10 * time.Millisecond},
		{ID: "gone", Source: config.Lines, Port: "/nothing/of/that/name", Line: "T:{temperature} RH:{humidity}", Every: 10 * time.Millisecond},
	}}, h)
	h.until(t, "faults", func() bool {
		return h.reads["odd"] > 3 && h.read["odd"].Fault == health.Garbled && h.reads["gone"] > 3 && h.read["gone"].Fault == health.Absent
	})
}

// station is a broker for one subscriber.
type station struct {
	mu      sync.Mutex
	receive func(topic string, payload []byte, retained bool)
	contact func(error)
	topics  []string
	ready   chan struct{}
}

func (s *station) Subscribe(ctx context.Context, topics []string, receive func(string, []byte, bool), contact func(error)) {
	s.mu.Lock()
	s.receive, s.contact, s.topics = receive, contact, topics
	s.mu.Unlock()
	close(s.ready)
	<-ctx.Done()
}

func TestASensorThatPublishes(t *testing.T) {
	h, s := newHeard(), &station{ready: make(chan struct{})}
	sensor := func(id, topic string) config.Sensor {
		q := config.Quantity{Topic: topic, Factor: 1}
		c := config.Sensor{ID: id, Source: config.Published, Every: 10 * time.Millisecond, Temperature: q, Humidity: q, Time: "/at", HasTime: true}
		c.Temperature.Pointer, c.Humidity.Pointer = "/t", "/h"
		return c
	}
	runsWith(t, config.Shop{Sensors: []config.Sensor{sensor("west", "a"), sensor("east", "b")}}, h, s)
	<-s.ready
	if len(s.topics) != 2 {
		t.Errorf("topics %v", s.topics)
	}
	h.until(t, "nothing before the connection", func() bool { return h.read["west"].Fault == health.NotHeard && h.reads["west"] > 1 })
	s.contact(nil)
	s.receive("a", []byte(`{"t":21.5,"h":48.3}`), true)
	h.until(t, "a retained message of unknown age", func() bool {
		return errors.Is(h.read["west"].Err, climate.ErrRetained) && h.read["west"].Fault == health.NotHeard
	})
	s.receive("a", []byte(`{"t":21.5,"h":48.3}`), false)
	h.until(t, "a reading", func() bool {
		return h.read["west"].Err == nil && h.read["west"].Air.TemperatureC == 21.5 && h.read["west"].Age < time.Minute
	})
	s.receive("b", []byte(`{"t":22.5,"h":50,"at":`+time.Now().Add(-10*time.Minute).Format("\"2006-01-02T15:04:05Z07:00\"")+`}`), true)
	h.until(t, "a retained reading with its time", func() bool {
		return h.read["east"].Err == nil && h.read["east"].Air.TemperatureC == 22.5 && h.read["east"].Age > 9*time.Minute && h.read["east"].Age < 11*time.Minute
	})
	s.receive("a", []byte(`{"t":"on","h":48.3}`), false)
	h.until(t, "a message without a number", func() bool { return h.read["west"].Fault == health.Garbled })
	s.contact(errors.New("connection refused"))
	h.until(t, "the broker is away", func() bool { return h.read["east"].Err != nil && h.read["west"].Fault == health.OtherFault })
}

// answers returns the port of a device that sends a line for each request, and nothing else; asked counts
// the requests.
func answers(t *testing.T, request, line string) (port string, asked *atomic.Int64) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	asked = &atomic.Int64{}
	var serving sync.WaitGroup
	serving.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			serving.Go(func() {
				defer c.Close()
				got := make([]byte, len(request))
				for {
					if _, err := io.ReadFull(c, got); err != nil || string(got) != request {
						return
					}
					asked.Add(1)
					if _, err := io.WriteString(c, line); err != nil {
						return
					}
				}
			})
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		serving.Wait()
	})
	return "tcp://" + l.Addr().String(), asked
}
