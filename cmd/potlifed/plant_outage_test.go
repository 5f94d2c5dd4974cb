package main

import (
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/model/light"
)

// TestPlantsBrokerIsAway cuts the line to the plant while events happen and a batch ends. The hall's
// broker gets everything as before, its lamp is told nothing else and requests take no longer; when the
// line is back, the plant has all of it in order and shows no open batch. With a number in POTLIFED_CLUSTERS the
// line is cut for ten minutes at 60 events a second.
func TestPlantsBrokerIsAway(t *testing.T) {
	t.Parallel()
	away, every := 3*time.Second/2, time.Second/30
	if c := os.Getenv("POTLIFED_CLUSTERS"); c != "" && c != "brief" {
		away, every = 10*time.Minute, time.Second/60
	}
	hall, plant := newMosquitto(t), newMosquitto(t)
	line := newCable(t, plant.port)
	here, there := newChronicler(t, hall.url()), newChronicler(t, plant.url())
	p := start(t, newHardware(t).configuration(t, hall.configuration()+fmt.Sprintf("plant: {url: \"mqtt://%s\"}\n", line.listen.Addr())))
	id := p.loads()
	other := p.recorded()
	lamp := newLampClient(t, hall.url(), lampTopic)
	lamp.sees("green", 0, means(light.InOrder))
	atPlant := newClient(t, plant.url(), "states", "potlife/bench-1/batch/"+other)
	atPlant.sees("the batch at the plant", 0, func(s shown) bool { return s.payload != "" })
	well, last := p.paced(id, min(away, 20*time.Second), every)
	there.hasAll(t, last)

	from := lamp.mark()
	line.cut(true)
	during, _ := p.paced(id, away, every)
	if _, wrong := p.post("batches/"+other+"/close", map[string]any{"outcome": "used-up"}); wrong != nil {
		t.Fatal(wrong)
	}
	_, last = p.paced(id, time.Second, every)
	here.hasAll(t, last) // the hall has them while the line is cut
	tellsLatency(t, "the line to the plant cut", well, during)
	for _, want := range []string{
		`potlife_mqtt_connected{bench="bench-1",broker="hall"} 1`, `potlife_mqtt_connected{bench="bench-1",broker="plant"} 0`,
		`potlife_mqtt_waiting_messages{bench="bench-1",broker="hall"} 0`,
	} {
		eventually(t, want, func() (bool, any) { text := p.text("/metrics"); return strings.Contains(text, want+"\n"), text })
	}
	p.eventually("/readyz to name the plant and nothing else", func() (bool, any) {
		is := p.readiness()
		hall, _ := is.check("broker")
		ok, detail := is.check("plant")
		return is.Status == http.StatusServiceUnavailable && hall && !ok && detail != "", is
	})
	for _, s := range lamp.since(from) {
		// On a machine that is too busy to feed the sensor, the age becomes uncertain; the plant has no part in it.
		if s.lost || s.Meaning != light.InOrder && !strings.Contains(s.payload, `"age-uncertain"`) {
			t.Errorf("the lamp in the hall was told %s", s.payload)
		}
	}
	began := time.Now()
	line.cut(false)
	there.hasAll(t, last)
	t.Logf("the plant had the newest of %d events %v after the line was back", last, time.Since(began).Round(time.Millisecond))
	atPlant.sees("the end of the batch at the plant", 0, func(s shown) bool { return s.payload == "" })
	p.eventually("the plant's broker to be in order", func() (bool, any) {
		is := p.readiness()
		ok, detail := is.check("plant")
		return ok && detail == "", is
	})
	p.stop()
}

// TestReadinessNamesALight: the broker lets a light's client not in, and /readyz names its topic, with status 503.
func TestReadinessNamesALight(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t)
	way := newCable(t, m.port)
	way.refuse.Store("-light-light-1-json")
	p := start(t, newHardware(t).configuration(t, way.configuration()))
	named := func() (bool, any) {
		is := p.readiness()
		ok, detail := is.check("broker")
		return is.Status == http.StatusServiceUnavailable && !ok && strings.Contains(detail, "potlife/bench-1/light/light-1 has no connection"), is
	}
	p.eventually("/readyz to name the light", named)
	way.refuse.Store("")
	p.eventually("the broker to be in order", func() (bool, any) {
		is := p.readiness()
		ok, detail := is.check("broker")
		return ok && detail == "", is
	})
	p.stop()
}

// paced makes events at a rate for a time, and returns how long each request took, sorted, and the
// number of the newest event.
func (p *program) paced(id string, d, every time.Duration) (took []time.Duration, newest uint64) {
	p.t.Helper()
	tick := time.NewTicker(every)
	defer tick.Stop()
	var mu sync.Mutex
	var asking sync.WaitGroup
	room := make(chan struct{}, 30)
	for end := time.Now().Add(d); time.Now().Before(end); <-tick.C {
		room <- struct{}{}
		asking.Go(func() {
			one, last := p.says(id, 1, 1)
			mu.Lock()
			defer mu.Unlock()
			took, newest = append(took, one...), max(newest, last)
			<-room
		})
	}
	asking.Wait()
	slices.Sort(took)
	return took, newest
}
