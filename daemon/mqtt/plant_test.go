package mqtt

import (
	"strings"
	"testing"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
)

// plantSettings are those of the plant's broker at an address.
func plantSettings(addr string) Settings {
	s := testSettings("mqtt://" + addr)
	s.Lights, s.Commands, s.Plant = nil, false, true
	return s
}

// The plant's broker is away while events happen and a batch ends: the hall's gets them at once and its
// lamp is not told anything else; later the plant's has all of them in order, and no open batch.
func TestPlantsBrokerIsAway(t *testing.T) {
	hall, plant := mqtttest.StartMosquitto(t), mqtttest.StartMosquitto(t)
	r := newFixture()
	here, there := mqtttest.Subscribe(t, hall.Addr()), mqtttest.Subscribe(t, plant.Addr())
	line := mqtttest.NewRelay(t, plant.Addr())
	atHall, _ := runPublisher(t, r, mosquittoBroker{hall}.settings())
	atPlant, stop := runPublisher(t, r, plantSettings(line.Addr()))
	there.Expect(t, "the batch at the plant", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
	here.Expect(t, "the lamp", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
	r.event("0612-1", nil)
	there.Expect(t, "the first event", mqtttest.JSONHas(root+"event", "seq", 1.0))
	mqtttest.Until(t, "nothing to wait", func() bool { return atPlant.Status().Waiting == 0 && atHall.Status().Waiting == 0 })

	before := here.Count()
	line.Cut()
	mqtttest.Until(t, "the loss to be noticed", func() bool { return !atPlant.Connected() })
	const events = 600
	for range events - 2 {
		r.event("0612-1", nil)
	}
	r.event("0612-1", func(s *view.Snapshot) { s.Batches = nil })
	here.Expect(t, "the newest event in the hall", mqtttest.JSONHas(root+"event", "seq", float64(events)))
	here.Expect(t, "the end of the batch in the hall", mqtttest.Is(root+"batch/0612-1", ""))
	mqtttest.Until(t, "the events to wait for the plant", func() bool {
		return atPlant.Status().Waiting >= events-1 && atHall.Status().Waiting == 0
	})
	if !atHall.Connected() || atHall.Status().Messages[Count{directionOut, resultError}] > 0 {
		t.Errorf("the hall's broker: %+v", atHall.Status())
	}
	if plant.Retained(root + "batch/#")[root+"batch/0612-1"] == "" {
		t.Fatal("the plant's broker has no batch whose end it could miss")
	}
	line.Mend()
	there.Expect(t, "the newest event at the plant", mqtttest.JSONHas(root+"event", "seq", float64(events)))
	inOrder(t, there, events)
	there.Expect(t, "the end of the batch at the plant", mqtttest.Is(root+"batch/0612-1", ""))
	mqtttest.Until(t, "nothing to wait for the plant", func() bool { return atPlant.Status().Waiting == 0 })
	for name, want := range map[string]uint64{hallCursor: events, plantCursor: events} {
		if seq, err := r.journal.Cursor(t.Context(), name); err != nil || seq != want {
			t.Errorf("cursor %s at %d, %v; want %d", name, seq, err, want)
		}
	}
	for _, m := range here.On(root + "light/light-1/meaning") {
		if m.Payload != "in-order" {
			t.Errorf("a lamp of the hall was told %q", m.Payload)
		}
	}
	if n := here.Count(); n == before {
		t.Error("nothing was published in the hall meanwhile")
	}
	stop()
	there.Expect(t, "offline at the plant", mqtttest.Is(root+"availability", "offline"))
	if here.Last()[root+"availability"] != "online" {
		t.Error("the hall was told that the bench is offline")
	}
}

// The plant's broker gets no light and cannot give commands, no matter who publishes there. What another
// program retains on a light's topic is left alone.
func TestPlantGetsNeitherLightsNorCommands(t *testing.T) {
	plant := mqtttest.StartMosquitto(t)
	plant.Publish("-r", "-q", "1", "-t", root+"light/light-9/meaning", "-m", "soon")
	r := newFixture()
	there := mqtttest.Subscribe(t, plant.Addr())
	p, stop := runPublisher(t, r, plantSettings(plant.Addr()), func(p *Publisher) { p.retainedWait = 0 })
	there.Expect(t, "the batch", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
	plant.Publish("-q", "1", "-t", root+"do/good", "-m", `{"ref":"a","batch":"0612-1"}`)
	r.event("0612-1", nil)
	there.Expect(t, "an event after the command", mqtttest.JSONHas(root+"event", "seq", 1.0))
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	stop()
	for topic := range there.Last() {
		if strings.HasPrefix(topic, root+"done/") || strings.HasPrefix(topic, root+"light/") && topic != root+"light/light-9/meaning" {
			t.Errorf("the plant got %s", topic)
		}
	}
	if got := there.Last()[root+"light/light-9/meaning"]; got != "soon" {
		t.Errorf("another program's light was made %q", got)
	}
	if n := p.Status().Messages[Count{directionIn, resultRejected}]; n > 0 {
		t.Errorf("%d commands were taken", n)
	}
}

// How many events wait is known although the broker has never been reached.
func TestWaitingEventsAreCountedWithoutAConnection(t *testing.T) {
	r := newFixture()
	for range 40 {
		r.event("0612-1", nil)
	}
	if err := r.journal.SetCursor(t.Context(), plantCursor, 10); err != nil {
		t.Fatal(err)
	}
	p, _ := runPublisher(t, r, plantSettings("127.0.0.1:1"))
	states := len(newStates(p.topics).round(r.bench.Snapshot(), 0, nil))
	mqtttest.Until(t, "30 events to wait", func() bool { return p.Status().Waiting == 30+states })
}
