package main

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/record"
	"potlifed/model/air"
)

// TestCheckTellsOfOverdueChecks: of what the configuration has checked last, unless the records of the service know
// of a later check; a failed one is told as such.
func TestCheckTellsOfOverdueChecks(t *testing.T) {
	t.Parallel()
	now, dir := time.Now(), t.TempDir()
	const year = 365 * 24 * time.Hour
	long := now.Add(-year - 30*24*time.Hour)
	shop := config.Shop{DataDir: dir, Sensors: []config.Sensor{
		{ID: "late", CheckEvery: year, Checked: long}, {ID: "again", CheckEvery: year, Checked: long}, {ID: "failed", CheckEvery: year, Checked: long},
		{ID: "fine", CheckEvery: year, Checked: now.Add(-year / 2)}, {ID: "never-due"},
	}, Scales: []config.Scale{{ID: "scale-1", CheckEvery: year, Checked: long}}}
	advice := func() string {
		var out bytes.Buffer
		l := checklist{out: &out}
		l.checksDue(t.Context(), shop)
		if l.faults > 0 {
			t.Error("an overdue check is no fault")
		}
		return out.String()
	}
	day := long.Add(year).Format(time.DateOnly)
	told := advice()
	for _, what := range []string{"sensor late ", "sensor again ", "sensor failed ", "scale scale-1 "} {
		if !strings.Contains(told, "advice "+what) {
			t.Errorf("nothing of %s in\n%s", what, told)
		}
	}
	if strings.Count(told, "overdue since "+day) != 4 || strings.Count(told, "\n") != 4 {
		t.Errorf("want four checks that are overdue since %s:\n%s", day, told)
	}

	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	stamp := record.Stamp{At: now, Boot: "b", Synced: true}
	read := air.State{TemperatureC: 20, HumidityPct: 60}
	err = j.Write(journal.Group{Records: []record.Record{
		{Stamp: stamp, By: "anna", Seq: 1, Body: record.SensorVerified{Sensor: "again", HumidityPct: 60, Read: &read}},
		{Stamp: stamp, By: "anna", Seq: 2, Body: record.SensorVerified{Sensor: "failed", HumidityPct: 75, AllowedPct: 3, Read: &read, Failed: true}},
	}})
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	told = advice()
	if strings.Contains(told, "sensor again") || strings.Count(told, "overdue") != 2 || !strings.Contains(told, "its check on "+now.Format(time.DateOnly)+" failed") {
		t.Errorf("with the records of the service:\n%s", told)
	}
}

// A certificate that ends within the time of the service's alarm is advice, and one that has ended is a fault.
func TestCheckTellsOfCertificatesThatEnd(t *testing.T) {
	t.Parallel()
	cert, _ := mqtttest.SelfSigned(t, t.TempDir()) // for an hour
	var shop config.Shop
	shop.Broker.CertFile = cert
	shop.MQTT.CAFile = mqtttest.Lasting(t, t.TempDir(), 365*24*time.Hour)
	for _, c := range []struct {
		after time.Duration
		want  string
	}{{0, "advice broker.cert_file"}, {2 * time.Hour, "fault  broker.cert_file"}} {
		var out bytes.Buffer
		l := checklist{out: &out}
		l.certificates(shop, time.Now().Add(c.after))
		if told := out.String(); !strings.HasPrefix(told, c.want) || !strings.Contains(told, cert) || strings.Count(told, "\n") != 1 || (l.faults == 1) != (c.after > 0) {
			t.Errorf("after %v, %d faults:\n%s", c.after, l.faults, told)
		}
	}
}
