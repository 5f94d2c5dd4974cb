package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/devices/simulate"
	"potlifed/model/air"
	"potlifed/model/light"
)

// TestLightsSayWhatTheyMean follows two presses on the board and by MQTT. A press with good ink stays green while its
// next mix is ready, and an empty one that waits is blue and names the act. An end that is near and an age that is not
// sure have different words and causes. Where the light is unknown, no figure looks sure.
func TestLightsSayWhatTheyMean(t *testing.T) {
	t.Parallel()
	m := newMixerWith(t, quickScale, withBroker, "clock: assume\nbroker: {listen: \"127.0.0.1:0\"}\n",
		"every: 1s, stale_after: 5m}\npresses", "every: 200ms, stale_after: 2s}\npresses") // the floor's sensor
	lamp := m.listens("light/+")
	shows := func(press string, meaning light.Meaning, cause light.Cause, reason string, page ...string) {
		t.Helper()
		lamp.sees(fmt.Sprintf("%s at %s: %s", meaning, press, cause), 0, func(s shown) bool {
			var is view.Light
			return json.Unmarshal([]byte(s.payload), &is) == nil && is.Press == press && is.Meaning == meaning && is.Cause == cause && strings.HasPrefix(is.Reason, reason)
		})
		m.opens("/presses")
		m.sees(append(page, reason)...)
	}
	puts := func(batch, press string) {
		t.Helper()
		if _, wrong := m.program.post("batches/"+batch+"/load", map[string]string{"press": press}); wrong != nil {
			t.Fatal(wrong)
		}
	}
	first := m.program.loads()
	next := m.mix(t, m.program)
	shows("press-1", light.InOrder, light.EnoughLife, "Enough life left. The next mix, "+next+", is ready.", "press-1 Good to print", "The next mix "+next+" is ready")
	m.taps("Cup taken off (" + first + ")")
	shows("press-1", light.Act, light.MixReady, "Mix "+next+" is ready: bring it to press-1.", "press-1 Bring the mix")
	puts(next, "press-1")
	shows("press-1", light.InOrder, light.EnoughLife, "Enough life left.", "press-1 Good to print")

	old, wrong := m.program.post("batches", map[string]any{
		"ink": "dial-satin", "mixed_at": time.Now().Add(-200 * time.Minute).UTC().Format(time.RFC3339),
		"components": []map[string]any{{"part": "ink", "g": 85}, {"part": "hardener", "g": 17}, {"part": "thinner", "g": 7.1}},
	})
	if wrong != nil {
		t.Fatal(wrong)
	}
	puts(old.ID, "press-2")
	shows("press-2", light.Soon, light.EndsSoon, "It ends soon: make the next mix.", "press-2 Ends soon")
	if err := m.room.Fail(); err != nil {
		t.Fatal(err)
	}
	shows("press-1", light.Soon, light.AgeUncertain, "Check the ink: its age is not sure.", "press-1 Check the ink")

	const looks = `(() => {
		const row = [...document.querySelectorAll(".board-row")].find((e) => e.querySelector(".board-name").innerText === "press-2");
		const figures = [...row.querySelectorAll(".board-left, .board-band, .board-next")].filter((e) => e.checkVisibility());
		const text = getComputedStyle(document.body).color;
		const sure = figures.filter((e) => getComputedStyle(e).color === text || getComputedStyle(e).textDecorationLine === "none").length;
		return [figures.length > 1, sure, getComputedStyle(row.querySelector(".life")).backgroundImage].join(" ");
	})()`
	if is := evaluate[string](m, looks); strings.HasSuffix(is, "none") || strings.HasPrefix(is, "true 0") {
		t.Errorf("while it is known, press-2 looks unsure: %s", is)
	}
	if err := m.floor.Fail(); err != nil {
		t.Fatal(err)
	}
	shows("press-2", light.Unknown, light.FiguresUnknown, "", "press-2 Not known")
	m.waits("no figure of press-2 in full black, and no bar that is solid", looks+` === "true 0 none"`)
}

// TestTrustIsWithdrawnAtOnce: the readings can be trusted once each instrument was checked, and cannot any more as soon as a
// sensor disagrees with another one of its zone, or a check of it failed; the topic of the sensor tells it too.
func TestTrustIsWithdrawnAtOnce(t *testing.T) {
	t.Parallel()
	store, err := simulate.NewRoom(filepath.Join(t.TempDir(), "store"), air.State{TemperatureC: 20, HumidityPct: 50})
	if err != nil {
		t.Fatal(err)
	}
	m := newMixerWith(t, quickScale, withBroker, "clock: assume\nbroker: {listen: \"127.0.0.1:0\"}\n",
		"\npresses", fmt.Sprintf("\n  - {id: bench-air-2, zone: bench, path: %q, every: 200ms}\npresses", store.Path()))
	checks := func(instrument string, body map[string]any) {
		t.Helper()
		data, _ := json.Marshal(body)
		r, err := http.Post(m.url+"/api/v1/"+instrument+"/verifications", "application/json", bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK {
			t.Fatalf("the check of %s: %s", instrument, r.Status)
		}
	}
	finds := func(sensor, finding string) {
		t.Helper()
		m.listens("sensor/"+sensor).sees(finding, 0, func(s shown) bool {
			var is struct{ Findings []string }
			return json.Unmarshal([]byte(s.payload), &is) == nil && slices.Contains(is.Findings, finding)
		})
	}
	checks("scales/scale-1", map[string]any{"interval_g": 1, "weight_class": "M1", "loads": []map[string]any{{"weights_g": []float64{100}, "readings_g": []float64{100, 100, 100}}}})
	for sensor, humidity := range map[string]float64{"bench-air": 50, "bench-air-2": 50, "floor-air": 80} {
		m.program.eventually("a reading of "+sensor, func() (bool, any) {
			var list struct{ Sensors []view.Sensor }
			m.gets("sensors", &list)
			return slices.ContainsFunc(list.Sensors, func(s view.Sensor) bool { return s.ID == sensor && s.HumidityPct != nil }), list.Sensors
		})
		checks("sensors/"+sensor, map[string]any{"humidity_pct": humidity})
	}
	m.opens("/devices")
	m.seesIn("Can the numbers be trusted?", "The readings can be trusted")
	m.seesNot("with care")

	m.taps("Check… (floor-air)")
	m.enters("The meter shows", "60")
	m.taps("Record the check")
	m.sees("Not all readings can be trusted", "floor-air: Check failed: do not rely on it")
	finds("floor-air", view.CheckFailed)
	checks("sensors/floor-air", map[string]any{"humidity_pct": 80})
	m.misses("Check failed")
	m.sees("The readings can be trusted")

	if err := store.Set(air.State{TemperatureC: 20, HumidityPct: 70}); err != nil {
		t.Fatal(err)
	}
	m.sees("Not all readings can be trusted", "bench-air-2: It disagrees with the sensor beside it")
	finds("bench-air-2", view.Disagrees)
}

// withBroker is what of the mixer's configuration is replaced to have the broker of the program itself.
const withBroker = "clock: assume\n"

// listens reads topics of the bench from the broker of the program.
func (m *mixer) listens(topic string) *lampClient {
	m.t.Helper()
	_, line := m.program.log.wait(m.t, "the broker", 0, has("msg=ready", "mqtt="))
	return newClient(m.t, line[strings.Index(line, "mqtt=")+len("mqtt="):], "reader of "+topic, "potlife/bench-1/"+topic)
}
