package main

import (
	"strings"
	"testing"
)

// corrected is what the answer to the command correct says of the mix.
type corrected struct {
	Outcome string
	Result  struct {
		Pours []struct {
			Seq  uint64
			Part string
			G    float64
		}
	}
}

// TestWrongCanByMessage: what is in the cup and not taken, and a pour that was taken, are mended by MQTT as on the
// page, and the page shows it.
func TestWrongCanByMessage(t *testing.T) {
	t.Parallel()
	broker := newMosquitto(t)
	m := newMixerWith(t, quickScale, "clock: assume\n", "clock: assume\n"+broker.configuration())
	id := m.begins()
	m.inks()
	m.hardens()
	m.stirs()
	m.pours(9.3)
	pours := m.corrects(broker, "1", map[string]any{"batch": id, "not_taken": true, "part": "hardener"}).Result.Pours
	if len(pours) != 3 || pours[0].Part != "ink" || pours[0].G != 85 || pours[2].Part != "hardener" || pours[2].G != 9.3 {
		t.Fatalf("the pours are %+v", pours)
	}
	m.sees("55 % too much hardener")
	m.corrects(broker, "2", map[string]any{"batch": id, "pour": pours[2].Seq, "undo": true})
	m.seesIn("Guided mix", "In the cup and in no record: 9.3 g. It came from:")
}

// corrects sends the command correct, and waits until it has been carried out.
func (m *mixer) corrects(broker *mosquitto, ref string, body map[string]any) corrected {
	m.t.Helper()
	body["ref"], body["at"] = ref, rightNow()
	broker.publish("potlife/bench-1/do/correct", body)
	payload := broker.wait("the answer", "potlife/bench-1/done/correct", 0, func(p string) bool { return strings.Contains(p, `"ref":"`+ref+`"`) })
	answer := decoded[corrected](m.t, payload)
	if answer.Outcome != "done" {
		m.t.Fatalf("refused: %s", payload)
	}
	return answer
}
