package main

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
)

// What an ink of 4½ to 5½ hours spends an hour, written out from the formulas and not
// taken from the model: r = A k(T) + B e with the two ends of the data sheet at 30 and
// 80 % and 20 °C, where k is 1. Saturation pressure after Hyland and Wexler (1983).
func rateByHand(temperatureC, humidityPct float64) float64 {
	saturation := func(c float64) float64 {
		t := c + 273.15
		return math.Exp(-5.8002206e3/t + 1.3914993 - 4.8640239e-2*t + 4.1764768e-5*t*t - 1.4452093e-8*t*t*t + 6.5459673*math.Log(t))
	}
	b := (1.0/4.5 - 1.0/5.5) / (0.80*saturation(20) - 0.30*saturation(20))
	a := 1.0/5.5 - b*0.30*saturation(20)
	k := math.Exp(-50000 / 8.314462618 * (1/(temperatureC+273.15) - 1/293.15))
	return a*k + b*humidityPct/100*saturation(temperatureC)
}

// doseByHand integrates the rate over recorded air, linear between its rows: at a
// constant temperature the rate is linear in the humidity, so the trapezoid is exact.
func doseByHand(rows []airRow, from, to time.Time) float64 {
	at := func(t time.Time) float64 {
		for i := 1; i < len(rows); i++ {
			a, b := rows[i-1], rows[i]
			if !t.Before(a.Time) && t.Before(b.Time) {
				f := t.Sub(a.Time).Seconds() / b.Time.Sub(a.Time).Seconds()
				return a.HumidityPct + f*(b.HumidityPct-a.HumidityPct)
			}
		}
		return rows[len(rows)-1].HumidityPct
	}
	cuts := []time.Time{from}
	for _, r := range rows {
		if r.Time.After(from) && r.Time.Before(to) {
			cuts = append(cuts, r.Time)
		}
	}
	cuts = append(cuts, to)
	dose := 0.0
	for i := 1; i < len(cuts); i++ {
		// Just inside the piece: where the record has two rows at one time, the air jumped.
		middle := cuts[i-1].Add(cuts[i].Sub(cuts[i-1]) / 2)
		dose += rateByHand(20, at(middle)) * cuts[i].Sub(cuts[i-1]).Hours()
	}
	return dose
}

type airRow struct {
	Time         time.Time `json:"time"`
	TemperatureC float64   `json:"temperature_c"`
	HumidityPct  float64   `json:"humidity_pct"`
}

// TestFromTheScalesBytesToThePressLight drives the built program through a
// pseudo-terminal, sensor files and a real broker.
func TestFromTheScalesBytesToThePressLight(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t)
	b := newHardware(t)
	p := start(t, b.configuration(t, m.configuration()))
	m.wait("online", "potlife/bench-1/availability", 0, func(s string) bool { return s == "online" })

	id := b.mix(t, p)
	if _, wrong := p.post("batches/"+id+"/load", map[string]string{"press": "press-1"}); wrong != nil {
		t.Fatal(wrong)
	}
	m.wait("green", "potlife/bench-1/light/light-1/colour", 0, func(s string) bool { return s == "green" })
	m.wait("in order", "potlife/bench-1/light/light-1/meaning", 0, func(s string) bool { return s == "in-order" })
	agree(t, p, m, id, 0)

	before := p.batch(id)
	if *before.Spent >= 0.02 {
		t.Fatalf("the batch is not fresh any more: spent %v", *before.Spent)
	}
	checkExpected(t, before, 50)
	from := m.seen.len()
	if err := b.room.Set(air.State{TemperatureC: 20, HumidityPct: 80}); err != nil {
		t.Fatal(err)
	}
	m.wait("humid air", "potlife/bench-1/air/bench", from, func(s string) bool {
		return decoded[view.Air](t, s).HumidityPct != nil && *decoded[view.Air](t, s).HumidityPct == 80
	})
	from, _ = m.seen.wait(t, "the batch with an earlier end", from, func(line string) bool {
		topic, rest, _ := strings.Cut(line, "\t")
		if topic != "potlife/bench-1/batch/"+id {
			return false
		}
		v := decoded[view.BatchState](t, rest[strings.Index(rest, "\t")+1:])
		return v.EndsAt.Expected.Before(before.EndsAt.Expected.Add(-30 * time.Minute))
	})
	after := p.batch(id)
	checkExpected(t, after, 80)
	checkSpent(t, p, id)
	agree(t, p, m, id, from)

	closed, wrong := p.post("batches/"+id+"/close", map[string]any{"outcome": "used-up", "still_good": "yes", "left_g": 3.5})
	if wrong != nil || closed.State != lifecycle.Closed {
		t.Fatalf("close: %+v %v", closed.State, wrong)
	}
	m.wait("the end of the batch", "potlife/bench-1/batch/"+id, from, func(s string) bool { return s == "" })
	m.wait("white", "potlife/bench-1/light/light-1/colour", from, func(s string) bool { return s == "white" })
	p.stop()
	m.wait("offline", "potlife/bench-1/availability", from, func(s string) bool { return s == "offline" })
	m.wait("unknown", "potlife/bench-1/light/light-1/meaning", from, func(s string) bool { return s == "unknown" })
}

// checkExpected: on a fresh batch the expected end is within 2 % of (1 - spent)/r.
func checkExpected(t *testing.T, v view.Batch, humidityPct float64) {
	t.Helper()
	want := (1 - *v.Spent) / rateByHand(20, humidityPct) * 3600
	if got := v.RemainingS.Expected; math.Abs(got/want-1) > 0.02 {
		t.Errorf("at %v %%: expected %v s remain, (1-spent)/r is %v s", humidityPct, got, want)
	}
	if !(v.RemainingS.Low < v.RemainingS.Expected && v.RemainingS.Expected < v.RemainingS.High) {
		t.Errorf("at %v %%: no band: %+v", humidityPct, *v.RemainingS)
	}
}

// checkSpent compares spent with the dose integrated by hand over the air that the
// program recorded.
func checkSpent(t *testing.T, p *program, id string) {
	t.Helper()
	// Air goes to disk with the next event, and the history is read from there.
	if _, wrong := p.post("batches/"+id+"/tests", map[string]string{"kind": "other", "result": "pass"}); wrong != nil {
		t.Fatal(wrong)
	}
	v := p.batch(id)
	var history struct {
		Air []airRow `json:"air"`
	}
	p.get("/api/v1/history/air?zone=bench&from="+v.MixedAt.Add(-time.Minute).Format(time.RFC3339), &history)
	if len(history.Air) < 2 {
		t.Fatalf("history: %+v", history)
	}
	if want := doseByHand(history.Air, *v.MixedAt, v.Time); math.Abs(*v.Spent-want) > 1e-6 {
		t.Errorf("spent %.9f, integrated by hand %.9f; air %+v", *v.Spent, want, history.Air)
	}
}

// agree compares what MQTT, /metrics and HTTP say of a batch, carried to one instant.
func agree(t *testing.T, p *program, m *mosquitto, id string, from int) {
	t.Helper()
	http := p.batch(id)
	var mqtt view.BatchState
	m.wait("the batch as it is", "potlife/bench-1/batch/"+id, from, func(s string) bool {
		mqtt = decoded[view.BatchState](t, s)
		return mqtt.EndsAt != nil && mqtt.Seq >= http.Seq
	})
	metrics := p.text("/metrics")
	now := time.Now()
	near := func(what string, got, want time.Time) {
		t.Helper()
		if d := got.Sub(want).Abs(); d > time.Second {
			t.Errorf("%s: %v and HTTP's %v differ by %v", what, got, want, d)
		}
	}
	near("MQTT expected", mqtt.EndsAt.Expected, http.EndsAt.Expected)
	near("MQTT low", mqtt.EndsAt.Low, http.EndsAt.Low)
	near("MQTT high", mqtt.EndsAt.High, http.EndsAt.High)
	near("MQTT mixed_at", *mqtt.MixedAt, *http.MixedAt)
	for bound, want := range map[string]time.Time{"expected": http.EndsAt.Expected, "low": http.EndsAt.Low, "high": http.EndsAt.High} {
		for _, series := range []string{`potlife_batch_remaining_seconds{batch="` + id + `",bench="bench-1",bound="` + bound + `"}`, `potlife_press_remaining_seconds{bench="bench-1",bound="` + bound + `",press="press-1"}`} {
			near("/metrics "+series, now.Add(time.Duration(sample(t, metrics, series)*float64(time.Second))), want)
		}
	}
	if len(mqtt.Components) != 3 || len(http.Components) != 3 {
		t.Fatalf("components: MQTT %+v, HTTP %+v", mqtt.Components, http.Components)
	}
	for i, c := range http.Components {
		if mqtt.Components[i] != c {
			t.Errorf("component %d: MQTT %+v, HTTP %+v", i, mqtt.Components[i], c)
		}
		g := sample(t, metrics, `potlife_batch_component_grams{batch="`+id+`",bench="bench-1",part="`+string(c.Part)+`"}`)
		if math.Abs(g-c.G) > 1e-9 {
			t.Errorf("component %s: /metrics %v g, HTTP %v g", c.Part, g, c.G)
		}
	}
	want := map[string]float64{"ink": 85, "hardener": 17, "thinner": 7.1}
	for _, c := range http.Components {
		if math.Abs(c.G-want[string(c.Part)]) > 0.11 { // one division of the scale
			t.Errorf("%s: %v g, poured were %v", c.Part, c.G, want[string(c.Part)])
		}
	}
}

// sample is the value of one series of a scrape.
func sample(t testing.TB, metrics, series string) float64 {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(series) + ` (\S+)$`).FindStringSubmatch(metrics)
	if m == nil {
		t.Fatalf("no series %s in\n%s", series, metrics)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
