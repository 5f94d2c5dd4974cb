package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/model/alarm"
	"potlifed/model/lifecycle"
)

// Nobody is asked to make the next mix when it is ready.
func TestEndingAsksForTheMixThatIsReady(t *testing.T) {
	b := &Bench{shop: newCatalogue(config.Shop{})}
	now := time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)
	s := record.State{Batches: map[string]*record.Batch{"0612-1": {ID: "0612-1", Press: "press-1", Phase: lifecycle.Open, Used: true}}}
	row := &record.Alarm{Name: alarm.BatchEnding, Subject: "0612-1", State: alarm.Unacknowledged}
	if got := b.alarmView(s, row, now).Response; !strings.HasPrefix(got, "Begin the next mix now") {
		t.Errorf("without another mix: %q", got)
	}
	s.Batches["0612-2"] = &record.Batch{ID: "0612-2", For: "press-1", Phase: lifecycle.Resting}
	if got := b.alarmView(s, row, now).Response; !strings.HasPrefix(got, "Begin the next mix now") {
		t.Errorf("the next mix rests still: %q", got)
	}
	s.Batches["0612-3"] = &record.Batch{ID: "0612-3", For: "press-1", Phase: lifecycle.Open}
	if got := b.alarmView(s, row, now).Response; got != "Mix 0612-3 is ready: bring it to press-1, and change the cup." {
		t.Errorf("a mix is ready: %q", got)
	}
}

// Where a batch is on no press, nobody is asked to take its cup off one.
func TestAnAlarmOfABatchOnNoPress(t *testing.T) {
	b := &Bench{shop: newCatalogue(config.Shop{})}
	now := time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)
	s := record.State{Batches: map[string]*record.Batch{"0612-1": {ID: "0612-1", Phase: lifecycle.Open}}}
	for _, name := range []string{alarm.BatchEnding, alarm.BatchRisk, alarm.BatchDead} {
		row := &record.Alarm{Name: name, Subject: "0612-1", State: alarm.Unacknowledged}
		s.Batches["0612-1"].Press = ""
		loose := b.alarmView(s, row, now).Response
		if !strings.HasPrefix(loose, "It is on no press") {
			t.Errorf("%s on no press: %q", name, loose)
		}
		s.Batches["0612-1"].Press = "press-1"
		if on := b.alarmView(s, row, now).Response; on == loose {
			t.Errorf("%s on a press: %q", name, on)
		}
	}
}
