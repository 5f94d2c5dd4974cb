package config

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/scale"
)

// FuzzParse: whatever the bytes, Parse ends with faults that point into the file, or
// with a Shop that keeps every promise of the package comment.
func FuzzParse(f *testing.F) {
	f.Add([]byte(smallest))
	seeds, err := filepath.Glob(filepath.Join("testdata", "faults", "*.yaml"))
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range append(seeds, filepath.Join("..", "..", "testdata", "potlifed.example.yaml")) {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		shop, err := Parse("fuzz.yaml", data)
		if err != nil {
			checkFaults(t, err, 1+strings.Count(string(data), "\n")+strings.Count(string(data), "\r"))
			if diff := cmp.Diff(Shop{}, shop, inside); diff != "" {
				t.Errorf("a shop beside faults:\n%s", diff)
			}
			return
		}
		checkIDs(t, shop)
		checkNames(t, shop)
		checkNumbers(t, shop)
		checkDevices(t, shop)
	})
}

func checkFaults(t *testing.T, err error, lines int) {
	t.Helper()
	var faults *Faults
	if !errors.As(err, &faults) || len(faults.List) == 0 {
		t.Fatalf("no faults but %v", err)
	}
	last := Fault{}
	for _, one := range faults.List {
		if one.Line < 1 || one.Line > lines || one.Column < 1 || one.Found == "" || one.Want == "" {
			t.Errorf("fault %+v in a file of %d lines", one, lines)
		}
		if one.Line < last.Line || one.Line == last.Line && one.Column < last.Column {
			t.Errorf("%+v stands after %+v", one, last)
		}
		last = one
	}
	if got := strings.Count(err.Error(), "\n") + 1; got != len(faults.List) {
		t.Errorf("%d lines for %d faults:\n%v", got, len(faults.List), err)
	}
}

func checkIDs(t *testing.T, shop Shop) {
	t.Helper()
	var devices []string
	for _, s := range shop.Scales {
		devices = append(devices, s.ID)
	}
	for _, s := range shop.Sensors {
		devices = append(devices, s.ID)
	}
	for what, ids := range map[string][]string{
		"bench": {shop.Bench}, "device": devices, "cup": idsOf(shop.Cups, func(c Cup) string { return c.ID }),
		"press":    idsOf(shop.Presses, func(p Press) string { return p.ID }),
		"light":    idsOf(shop.Lights, func(l Light) string { return l.ID }),
		"hardener": idsOf(shop.Hardeners, func(h Hardener) string { return h.ID }),
		"thinner":  idsOf(shop.Thinners, func(t Thinner) string { return t.ID }),
		"ink":      idsOf(shop.Inks, func(i Ink) string { return i.ID }),
	} {
		slices.Sort(ids)
		for i, id := range ids {
			if !idShape.MatchString(id) || i > 0 && ids[i-1] == id {
				t.Errorf("%s ids %q", what, ids)
			}
		}
	}
	if len(shop.Scales) == 0 || len(shop.Sensors) == 0 || len(shop.Cups) == 0 || len(shop.Presses) == 0 || len(shop.Lights) == 0 || len(shop.Inks) == 0 {
		t.Errorf("something is missing: %+v", shop)
	}
}

func idsOf[T any](things []T, id func(T) string) []string {
	var ids []string
	for _, thing := range things {
		ids = append(ids, id(thing))
	}
	return ids
}

func checkNames(t *testing.T, shop Shop) {
	t.Helper()
	zones := idsOf(shop.Sensors, func(s Sensor) string { return s.Zone })
	cups := idsOf(shop.Cups, func(c Cup) string { return c.ID })
	presses := idsOf(shop.Presses, func(p Press) string { return p.ID })
	hardeners := idsOf(shop.Hardeners, func(h Hardener) string { return h.ID })
	thinners := idsOf(shop.Thinners, func(t Thinner) string { return t.ID })
	must := func(list []string, name, what string) {
		if !slices.Contains(list, name) {
			t.Errorf("%s %q is none of %q", what, name, list)
		}
	}
	for _, s := range shop.Scales {
		must(zones, s.Zone, "a scale's zone")
	}
	for _, p := range shop.Presses {
		must(zones, p.Zone, "a press's zone")
		must(cups, p.Cup, "a press's cup")
	}
	for _, l := range shop.Lights {
		if len(l.Presses) == 0 || (len(l.Reads) == 0) != (l.Topic != "" && len(l.Payloads) == 6) {
			t.Errorf("light %+v", l)
		}
		if l.Confirms != "" && (l.Confirms == l.Topic || l.Topic == "" && len(l.Reads) != 1 || l.ConfirmWithin <= 0 ||
			strings.HasPrefix(l.Confirms, shop.MQTT.TopicPrefix+"/"+shop.Bench+"/")) {
			t.Errorf("light %+v", l)
		}
		for _, p := range l.Presses {
			must(presses, p, "a light's press")
		}
		for _, topic := range l.Reads {
			must([]string{"json", "meaning", "colour"}, topic, "a light's topic")
		}
	}
	for _, ink := range shop.Inks {
		if ink.Hardener != "" {
			must(hardeners, ink.Hardener, "an ink's hardener")
		}
		for _, name := range ink.Thinners {
			must(thinners, name, "an ink's thinner")
		}
	}
}

func checkNumbers(t *testing.T, shop Shop) {
	t.Helper()
	for _, c := range shop.Cups {
		if !(c.InkMinimumG > 0 && c.FillMaximumG > c.InkMinimumG && c.EmptyG >= 0 && c.Exposure > 0 && c.Exposure <= 1 && c.Lag >= 0) {
			t.Errorf("cup %+v", c)
		}
	}
	for _, ink := range shop.Inks {
		p := ink.ThinnerPct
		if !(0 <= p.Min && p.Min <= p.Max && p.Max <= 100 && p.Min <= p.Dark && p.Dark <= p.Max && p.Min <= p.Light && p.Light <= p.Max) ||
			ink.RatioTolerancePct <= 0 || ink.Rest < 0 {
			t.Errorf("ink %+v", ink)
		}
		life, err := ink.Sheet.Calibrate()
		if err != nil || life != ink.Life || life.Valid() != nil {
			t.Errorf("ink %s: life %+v, again %+v, %v", ink.ID, ink.Life, life, err)
		}
	}
	a := shop.Alarms
	if a.EndingBefore < 0 || a.MixingTakes < 0 || !(a.StopAtRisk > 0 && a.StopAtRisk <= 1) {
		t.Errorf("alarms %+v", a)
	}
	if shop.Retention.Raw < day || shop.Retention.Minutes < shop.Retention.Raw {
		t.Errorf("retention %+v", shop.Retention)
	}
}

// checkDevices: what is accepted here is accepted by those who open it.
func checkDevices(t *testing.T, shop Shop) {
	t.Helper()
	for _, s := range shop.Scales {
		if err := (link.Settings{Port: s.Port, Baud: s.Baud, Mode: s.Mode}).Check(); err != nil {
			t.Errorf("scale %+v: %v", s, err)
		}
		if _, err := scale.ParseShape(s.Line); err != nil {
			t.Errorf("scale %+v: %v", s, err)
		}
		if !(s.DivisionG > 0 && s.CapacityG >= 100*s.DivisionG) {
			t.Errorf("scale %+v", s)
		}
	}
	for _, s := range shop.Sensors {
		if s.Every <= 0 || s.StaleAfter < s.Every || !(s.Accuracy.TemperatureAccuracyC > 0 && s.Accuracy.HumidityAccuracyPct > 0) {
			t.Errorf("sensor %+v", s)
		}
		var err error
		switch s.Source {
		case Hwmon, IIO:
			if !filepath.IsAbs(s.Path) {
				t.Errorf("sensor %+v", s)
			}
		case Modbus:
			err = errors.Join(link.Settings{Port: s.Port, Baud: s.Baud, Mode: s.Mode}.Check(), s.ModbusConfig().Check())
		case Lines:
			_, err = climate.NewLine(climate.LineConfig{Link: link.Settings{Port: s.Port, Baud: s.Baud, Mode: s.Mode}, Pattern: s.Line})
		case Published:
			if c := s.PublishedConfig(); c.Temperature.Topic == "" || c.Humidity.Topic == "" || c.Temperature.Factor == 0 || c.Humidity.Factor == 0 {
				t.Errorf("sensor %+v", s)
			}
		default:
			t.Errorf("sensor %+v", s)
		}
		if err != nil {
			t.Errorf("sensor %+v: %v", s, err)
		}
	}
	if _, _, err := net.SplitHostPort(shop.HTTP.Listen); err != nil {
		t.Errorf("listen %q: %v", shop.HTTP.Listen, err)
	}
	if shop.Broker.Listen != "" {
		if _, _, err := net.SplitHostPort(shop.Broker.Listen); err != nil {
			t.Errorf("broker at %q: %v", shop.Broker.Listen, err)
		}
	}
}
