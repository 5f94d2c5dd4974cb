package main

import (
	"encoding/json"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/light"
)

// surroundings are the devices and the network of a program, and how each fails.
type surroundings struct {
	f   *faultShop
	h   *hardware
	m   *mosquitto
	way *cable
}

// failing is a way in which a part of the surroundings fails.
type failing struct {
	begins func(s *surroundings) error
	ends   func(s *surroundings) error
	// seen reports whether the program shows it; nil where nothing is to be seen so soon.
	seen func(s *surroundings) (bool, any)
}

var mildAir = air.State{TemperatureC: 20, HumidityPct: 50}

func airIsBack(s *surroundings) error { return s.h.room.Set(mildAir) }

// notUp returns a function that reports whether the program says that a device is not as it should be.
func notUp(id string) func(s *surroundings) (bool, any) {
	return func(s *surroundings) (bool, any) { is := s.device(id); return is.Condition != "up", is }
}

// parts are the ways in which each part fails.
var parts = map[string][]failing{
	"sensor": {
		{func(s *surroundings) error { return s.h.room.Fail() }, airIsBack, notUp("bench-air")},
		{func(s *surroundings) error { return s.h.room.SetRaw("humidity1_input", "130000\n") }, airIsBack, notUp("bench-air")},
		{func(s *surroundings) error { return s.h.room.SetRaw("temp1_input", "") }, airIsBack, notUp("bench-air")},
	},
	"scale": {
		{func(s *surroundings) error { return s.h.scale.Unplug() }, func(s *surroundings) error { return s.h.scale.Replug() }, notUp("scale-1")},
		{func(s *surroundings) error { s.h.scale.Silence(true); return nil }, func(s *surroundings) error { s.h.scale.Silence(false); return nil }, notUp("scale-1")},
		{func(s *surroundings) error { return s.h.scale.Noise([]byte("\x00\xff\r\n" + strings.Repeat("8", 400))) }, func(*surroundings) error { return nil }, nil},
	},
	"broker": {
		{func(s *surroundings) error { s.m.kill(); return nil }, func(s *surroundings) error { s.m.start(); return nil }, (*surroundings).brokerAway},
	},
	"network": {
		{func(s *surroundings) error { s.way.held.Store(true); return nil }, func(s *surroundings) error { s.way.held.Store(false); return nil }, nil},
		{func(s *surroundings) error { s.way.cut(true); return nil }, func(s *surroundings) error { s.way.cut(false); return nil }, (*surroundings).brokerAway},
	},
}

// TestFaultsOfTheSurroundings lets sensor, scale, broker and network fail alone and in pairs while
// changes are asked for. Every change is answered; the program says of each device that it fails,
// and is as before when it is back, without a hand; a lamp shows what the page shows.
func TestFaultsOfTheSurroundings(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, with devices that fail")
	}
	t.Parallel()
	random := rand.New(rand.NewPCG(13, 4))
	s := &surroundings{m: newMosquitto(t), h: newHardware(t)}
	s.way = newCable(t, s.m.port)
	s.f = newFaultShopOn(t, s.h, s.way.configuration())
	together := [][]string{
		{"sensor", "broker"}, {"scale", "network"}, {"sensor"}, {"scale"}, {"broker"}, {"network"},
		{"sensor", "scale"}, {"sensor", "network"}, {"scale", "broker"}, {"broker", "network"},
	}
	tries := 2
	if rounds() > 1 {
		tries = 4 * len(together)
	}
	for i := range tries {
		s.fail(together[i%len(together)], random)
		if t.Failed() {
			return
		}
	}
	t.Logf("sensor, scale, broker and network, alone and in pairs: tried %d times, %d changes answered, %d lost, longest recovery %v",
		tries, s.f.answered, s.f.lost, s.f.longest.Round(10*time.Millisecond))
	s.f.p.stop()
}

func (s *surroundings) fail(names []string, random *rand.Rand) {
	f, t := s.f, s.f.t
	t.Helper()
	name := strings.Join(names, " and ")
	spent := *f.p.batch(f.batch).Spent
	var ways []failing
	for _, part := range names {
		way := parts[part][random.IntN(len(parts[part]))]
		if err := way.begins(s); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		ways = append(ways, way)
	}
	before := f.answered
	n := 5 + random.IntN(10)
	<-f.asks(n)
	if f.answered-before != n {
		t.Errorf("%s: %d of %d changes were answered", name, f.answered-before, n)
	}
	for _, way := range ways {
		if way.seen != nil {
			f.p.eventually(name+": what fails is shown", func() (bool, any) { return way.seen(s) })
		}
	}
	if now := *f.p.batch(f.batch).Spent; now < spent-1e-6 {
		t.Errorf("%s: spent fell from %v to %v", name, spent, now)
	}
	for _, way := range ways {
		if err := way.ends(s); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	began := time.Now()
	f.p.eventually(name+": all is as before", func() (bool, any) {
		air, scale := s.device("bench-air"), s.device("scale-1")
		away, broker := s.brokerAway()
		return air.Condition == "up" && scale.Condition == "up" && !away, []any{air.Condition, air.Detail, scale.Condition, scale.Detail, broker}
	})
	f.longest = max(f.longest, time.Since(began))
	f.check(name, fault{}, spent)
	lamp := newLampClient(t, s.m.url(), lampTopic)
	f.p.eventually(name+": the lamp shows what the page shows", func() (bool, any) {
		shows, told := s.light(), lamp.since(0)
		return len(told) > 0 && told[len(told)-1].Meaning == shows, []any{told, shows}
	})
	lamp.client.Disconnect(0)
}

// device returns how the program judges a device.
func (s *surroundings) device(id string) view.Sensor {
	s.f.t.Helper()
	var list struct{ Sensors []view.Sensor }
	s.f.p.get("/api/v1/sensors", &list)
	for _, d := range list.Sensors {
		if d.ID == id {
			return d
		}
	}
	s.f.t.Fatalf("no device %s", id)
	return view.Sensor{}
}

// light returns the meaning of the light as the program shows it.
func (s *surroundings) light() light.Meaning {
	s.f.t.Helper()
	var list struct{ Lights []view.Light }
	s.f.p.get("/api/v1/lights", &list)
	return list.Lights[0].Meaning
}

// brokerAway reports whether the program says that it does not reach the broker.
func (s *surroundings) brokerAway() (bool, any) {
	s.f.t.Helper()
	r, err := http.Get(s.f.p.http + "/readyz")
	if err != nil {
		s.f.t.Fatal(err)
	}
	defer r.Body.Close()
	var list struct {
		Checks []struct {
			Name, Detail string
			OK           bool
		}
	}
	b, err := io.ReadAll(r.Body)
	if err == nil {
		err = json.Unmarshal(b, &list)
	}
	if err != nil {
		s.f.t.Fatalf("/readyz: %v: %s", err, b)
	}
	for _, c := range list.Checks {
		if c.Name == "broker" {
			return !c.OK, c.Detail
		}
	}
	s.f.t.Fatalf("no check of the broker: %s", b)
	return false, nil
}
