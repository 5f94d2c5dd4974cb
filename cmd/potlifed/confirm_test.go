package main

import (
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestLampThatReportsBack: the whole program with a lamp that confirms, goes silent,
// lies and comes back, through the loss of the broker and a restart of the program.
func TestLampThatReportsBack(t *testing.T) {
	t.Parallel() // it waits more than it works
	m, b := newMosquitto(t), newHardware(t)
	file := b.configuration(t, m.configuration())
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	const plain = "{id: light-1, presses: [press-1]}"
	const confirms = "{id: light-1, presses: [press-1], reads: [meaning], confirms: hall/light-1, confirm_within: 2s}"
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), plain, confirms, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	var says atomic.Value // empty: what it was told; "-": nothing
	says.Store("")
	lamp := newClient(t, m.url(), "lamp", "potlife/bench-1/light/light-1/meaning")
	lamp.client.AddRoute("potlife/bench-1/light/light-1/meaning", func(c paho.Client, m paho.Message) {
		switch word := says.Load().(string); word {
		case "-":
		case "":
			c.Publish("hall/light-1", 1, true, m.Payload())
		default:
			c.Publish("hall/light-1", 1, true, word)
		}
	})
	p := start(t, file)
	lampRow := func() (l view.Light) {
		var list struct{ Lights []view.Light }
		p.get("/api/v1/lights", &list)
		return list.Lights[0]
	}
	stands := func() (text string) {
		var list struct{ Alarms []view.Alarm }
		p.get("/api/v1/alarms", &list)
		for _, a := range list.Alarms {
			if a.Name == "light-silent" && a.Subject == "light-1" && a.State != "returned" {
				return a.Text
			}
		}
		return ""
	}
	is := func(what string, confirmation light.Confirmation) {
		t.Helper()
		p.eventually(what, func() (bool, any) { l := lampRow(); return l.Confirmation == confirmation, l })
	}
	is("the lamp to confirm", light.ReportConfirmed)
	if l := lampRow(); l.ConfirmedAt == nil || time.Since(*l.ConfirmedAt) > time.Minute {
		t.Errorf("confirmed at %v", l.ConfirmedAt)
	}

	says.Store("-")
	id := p.loads()
	is("the silence to be seen", light.ReportSilent)
	p.eventually("the alarm", func() (bool, any) { return stands() != "", lampRow() })

	m.kill()
	is("the lamp to be out of reach", light.ReportWaiting)
	m.start()
	p.eventually("the alarm to stand still", func() (bool, any) { return lampRow().Confirmation == light.ReportSilent && stands() != "", lampRow() })
	p.stop()

	says.Store("in-order")
	p = start(t, file)
	if _, wrong := p.post("batches/"+id+"/close", map[string]string{"outcome": "went-off"}); wrong != nil {
		t.Fatal(wrong)
	}
	p.eventually("the lie to be seen", func() (bool, any) {
		l := lampRow()
		return l.Confirmation == light.ReportSilent && l.Says == "in-order" && stands() != "", l
	})
	says.Store("")
	lamp.client.Publish("hall/light-1", 1, true, "do-not-print") // of its own accord
	is("the lamp to be back", light.ReportConfirmed)
	p.eventually("the alarm to go", func() (bool, any) { return stands() == "", lampRow() })
	p.stop()
}
