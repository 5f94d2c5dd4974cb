package config

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/model/cure"
	"potlifed/model/light"
	"potlifed/model/mix"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// inside lets go-cmp look into the model's own types as well.
var inside = cmp.Exporter(func(reflect.Type) bool { return true })

// smallest is the smallest working file.
const smallest = `bench: bench-1
scales:
  - {id: scale-1, port: /dev/ttyUSB0}
sensors:
  - {id: bench-air, zone: bench, path: /sys/class/hwmon/hwmon2}
inks:
  - {id: dial-satin, hardener_ratio: "5:1", pot_life: {shortest: 4h30m, longest: 5h30m}}
`

func ratio(t *testing.T, text string) mix.Ratio {
	t.Helper()
	r, err := mix.ParseRatio(text)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func calibrated(t *testing.T, sheet cure.Sheet) cure.Ink {
	t.Helper()
	ink, err := sheet.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}

// smallestShop is written out here without the defaults' function, as the contract
// gives it. The cup, its masses and the thinner's share are common practice, no source.
func smallestShop(t *testing.T) Shop {
	sheet := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute, AtTemperatureC: 20, DryPct: 30, HumidPct: 80, ActivationKJPerMol: 50}
	return Shop{
		Bench:   "bench-1",
		DataDir: "/var/lib/potlifed",
		HTTP:    HTTP{Listen: "127.0.0.1:9755"},
		MQTT:    MQTT{TopicPrefix: "potlife"},
		Scales: []Scale{{ID: "scale-1", Port: "/dev/ttyUSB0", Baud: 9600, Mode: "8N1", Line: "auto",
			Every: 200 * time.Millisecond, DivisionG: 1, CapacityG: 2000, Zone: "bench"}},
		Sensors: []Sensor{{ID: "bench-air", Zone: "bench", Source: "hwmon", Path: "/sys/class/hwmon/hwmon2", Every: 5 * time.Second,
			Accuracy: cure.Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, StaleAfter: 5 * time.Minute}},
		Cups:    []Cup{{ID: "cup-90", InkMinimumG: 60, FillMaximumG: 110, MouthMM: 90, Exposure: 1, Lag: 10 * time.Minute}},
		Presses: []Press{{ID: "press-1", Zone: "bench", Cup: "cup-90"}},
		Lights:  []Light{{ID: "press-1", Presses: []string{"press-1"}, Reads: []string{"json", "meaning", "colour"}, ConfirmWithin: 10 * time.Second}},
		Inks: []Ink{{ID: "dial-satin", Ratio: ratio(t, "5:1"), RatioTolerancePct: 5,
			ThinnerPct: ThinnerPct{Min: 10, Max: 20, Dark: 10, Light: 12}, Sheet: sheet, Life: calibrated(t, sheet), Stir: 20 * time.Second}},
		Alarms:    Alarms{EndingBefore: 30 * time.Minute, MixingTakes: 15 * time.Minute, StopAtRisk: 0.25},
		Clock:     "kernel",
		Retention: Retention{Raw: 14 * 24 * time.Hour, Minutes: 400 * 24 * time.Hour},
		Language:  "en",
		Units:     Units{Temperature: "C"},
	}
}

func TestSmallestFileHasEveryDefault(t *testing.T) {
	got, err := Parse("potlifed.yaml", []byte(smallest))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(smallestShop(t), got, inside); diff != "" {
		t.Errorf("smallest file (-want +got):\n%s", diff)
	}
}

// TestSampleFile reads the file that people start from: everything in it is either at
// its default or said here.
func TestSampleFile(t *testing.T) {
	got, err := Read(filepath.Join("..", "..", "testdata", "potlifed.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	want := smallestShop(t)
	want.MQTT.URLs = []string{"mqtt://127.0.0.1:1883"}
	want.Broker.Listen = "127.0.0.1:1883"
	want.Scales[0].Port = "/dev/serial/by-id/usb-FTDI_FT232R_USB_UART_A10K1234-if00-port0"
	want.Sensors[0].Path = "/sys/bus/i2c/devices/1-0044/hwmon/hwmon*"
	want.Lights[0].ID = "light-1"
	want.Defects = []Defect{{ID: "cliche-wear", Words: "Worn cliché"}}
	want.Hardeners = []Hardener{{ID: "hardener-a", UseWithinOpened: 90 * 24 * time.Hour}}
	want.Thinners = []Thinner{{ID: "thinner-s", VapourPressurePa: 500, MolarMassG: 98.1}}
	want.Cups[0] = Cup{ID: "cup-110", InkMinimumG: 85, FillMaximumG: 150, MouthMM: 110, Exposure: 1, Lag: 10 * time.Minute}
	want.Presses[0].Cup = "cup-110"
	want.Inks[0].Hardener = "hardener-a"
	want.Inks[0].Thinners = []string{"thinner-s"}
	want.Inks[0].ThinnerPct = ThinnerPct{Min: 6, Max: 14, Dark: 7, Light: 9}
	if diff := cmp.Diff(want, got, inside); diff != "" {
		t.Errorf("sample file (-want +got):\n%s", diff)
	}
}

// TestReadmeFile: what the README calls the smallest file works as it stands there.
func TestReadmeFile(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(data), "```yaml\nbench:")
	file, _, closed := strings.Cut(rest, "```")
	if !found || !closed {
		t.Fatal("the README has no such file")
	}
	if _, err := Parse("README.md", []byte("bench:"+file)); err != nil {
		t.Error(err)
	}
}

// TestSampleFileShowsEveryKey keeps the sample complete: what the reader knows stands
// in it, live or commented out.
func TestSampleFileShowsEveryKey(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "potlifed.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range strings.Fields(`bench data_dir http listen hosts public_url web_config_file mqtt url ca_file cert_file key_file
		topic_prefix username password_file commands broker others scales id port baud mode line request every division_g capacity_g zone sensors
		source path every accuracy temperature_c humidity_pct stale_after cups ink_minimum_g fill_maximum_g empty_g mouth_mm exposure lag
		presses cup lights reads topic payloads flashing_payloads confirms confirm_within confirm_payloads hardeners use_within_opened thinners vapour_pressure_pa molar_mass_g hydroxyl safety_data_sheet inks hardener
		hardener_ratio ratio_tolerance_pct thinner_pct min max dark light pot_life shortest longest about at_temperature_c dry_pct
		humid_pct activation_kj_mol rest alarms ending_before mixing_takes stop_at_risk clock retention raw minutes`) {
		if !strings.Contains(string(data), key+": ") && !strings.Contains(string(data), key+":\n") {
			t.Errorf("the sample does not show %s", key)
		}
	}
}

func TestEveryKeyIsRead(t *testing.T) {
	const file = `
bench: b2
data_dir: /srv/potlifed
http: {listen: "0.0.0.0:80", hosts: [bench-1.local, 192.168.1.7], public_url: "https://bench-1.local/p", web_config_file: /etc/web.yaml}
others: [b3, b1]
broker: {listen: "0.0.0.0:8883", cert_file: /e, key_file: /f}
mqtt: {url: "mqtts://broker.example", ca_file: /a, cert_file: /b, key_file: /c, topic_prefix: plant/hall-2, username: u, password_file: /d, commands: true}
scales:
  - {id: s1, port: "tcp://10.0.0.5:4001", baud: 19200, mode: 7E1, line: auto, request: "P\\r\\n", every: 500ms, division_g: 0.01, capacity_g: 500, zone: z2}
sensors:
  - {id: a1, zone: z1, source: hwmon, path: /one, every: 1m30s, accuracy: {temperature_c: 0.1, humidity_pct: 1}, stale_after: 1d, check_every: 180d, checked: 2026-03-31}
  - {id: a2, zone: z2, path: /two, accuracy: {humidity_pct: 1.5}}
cups:
  - {id: c1, ink_minimum_g: 20, fill_maximum_g: 50.5, empty_g: 7, mouth_mm: 70, exposure: 0.5, lag: 0s}
  - {id: c2, ink_minimum_g: 60, fill_maximum_g: 110}
presses:
  - {id: p1, zone: z1, cup: c2}
  - {id: p2}
lights:
  - {id: l1, presses: [p2, p1], reads: [colour]}
  - {id: l2, presses: [p1], topic: l/2, payloads: {do-not-print: a, unknown: b, act: c, soon: d, in-order: e, empty: f}, flashing_payloads: {soon: dd},
     confirms: l/2/state, confirm_within: 20s, confirm_payloads: {do-not-print: A, unknown: B, act: C, soon: D, in-order: E, empty: F}}
hardeners: [{id: h1, use_within_opened: 30d12h}, {id: h2, safety_data_sheet: /sheets/h2.pdf}]
thinners: [{id: t1, vapour_pressure_pa: 1200, molar_mass_g: 116.16, hydroxyl: true, safety_data_sheet: "http://maker.example/t1"}, {id: t2}]
inks:
  - id: i1
    hardener: h2
    hardener_ratio: "8:1"
    ratio_tolerance_pct: 2.5
    thinners: [t1, t2]
    thinner_pct: {min: 0, max: 15, dark: 5, light: 7}
    safety_data_sheet: https://maker.example/i1.pdf
    pot_life: {about: 9h, at_temperature_c: 23, activation_kj_mol: 60}
    rest: 10m
    stir: 30s
alarms: {ending_before: 1h, mixing_takes: 0m, stop_at_risk: 1}
clock: assume
retention: {raw: 7d, minutes: 7d}
language: en
time_zone: Pacific/Auckland
units: {temperature: F}
`
	got, err := Parse("all.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	sheet := cure.Sheet{About: 9 * time.Hour, AtTemperatureC: 23, DryPct: 30, HumidPct: 80, ActivationKJPerMol: 60}
	want := Shop{
		Bench: "b2", DataDir: "/srv/potlifed",
		HTTP: HTTP{Listen: "0.0.0.0:80", Hosts: []string{"bench-1.local", "192.168.1.7"}, PublicURL: "https://bench-1.local/p", WebConfigFile: "/etc/web.yaml"},
		MQTT: MQTT{URLs: []string{"mqtts://broker.example:8883"}, CAFile: "/a", CertFile: "/b", KeyFile: "/c", TopicPrefix: "plant/hall-2",
			Username: "u", PasswordFile: "/d", Commands: true},
		Broker: Broker{Listen: "0.0.0.0:8883", CertFile: "/e", KeyFile: "/f"},
		Scales: []Scale{{ID: "s1", Port: "tcp://10.0.0.5:4001", Baud: 19200, Mode: "7E1", Line: "auto", Request: "P\r\n", Every: 500 * time.Millisecond, DivisionG: 0.01, CapacityG: 500, Zone: "z2"}},
		Sensors: []Sensor{
			{ID: "a1", Zone: "z1", Source: "hwmon", Path: "/one", Every: 90 * time.Second,
				Accuracy: cure.Sensor{TemperatureAccuracyC: 0.1, HumidityAccuracyPct: 1}, StaleAfter: 24 * time.Hour,
				CheckEvery: 180 * 24 * time.Hour, Checked: time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)},
			{ID: "a2", Zone: "z2", Source: "hwmon", Path: "/two", Every: 5 * time.Second,
				Accuracy: cure.Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 1.5}, StaleAfter: 5 * time.Minute},
		},
		Cups: []Cup{{ID: "c1", InkMinimumG: 20, FillMaximumG: 50.5, EmptyG: 7, MouthMM: 70, Exposure: 0.5},
			{ID: "c2", InkMinimumG: 60, FillMaximumG: 110, MouthMM: 90, Exposure: 1, Lag: 10 * time.Minute}},
		Presses: []Press{{ID: "p1", Zone: "z1", Cup: "c2"}, {ID: "p2", Zone: "z2", Cup: "c1"}},
		Lights: []Light{{ID: "l1", Presses: []string{"p2", "p1"}, Reads: []string{"colour"}, ConfirmWithin: 10 * time.Second},
			{ID: "l2", Presses: []string{"p1"}, Topic: "l/2",
				Payloads: map[light.Meaning]string{
					light.DoNotPrint: "a", light.Unknown: "b", light.Act: "c", light.Soon: "d", light.InOrder: "e", light.Empty: "f",
				},
				FlashingPayloads: map[light.Meaning]string{light.Soon: "dd"}, Confirms: "l/2/state", ConfirmWithin: 20 * time.Second,
				ConfirmPayloads: map[light.Meaning]string{
					light.DoNotPrint: "A", light.Unknown: "B", light.Act: "C", light.Soon: "D", light.InOrder: "E", light.Empty: "F",
				}}},
		Hardeners: []Hardener{{ID: "h1", UseWithinOpened: 30*24*time.Hour + 12*time.Hour}, {ID: "h2", SafetySheet: "/sheets/h2.pdf"}},
		Thinners:  []Thinner{{ID: "t1", VapourPressurePa: 1200, MolarMassG: 116.16, Hydroxyl: true, SafetySheet: "http://maker.example/t1"}, {ID: "t2"}},
		Inks: []Ink{{ID: "i1", Hardener: "h2", Ratio: ratio(t, "8:1"), RatioTolerancePct: 2.5, Thinners: []string{"t1", "t2"},
			ThinnerPct: ThinnerPct{Min: 0, Max: 15, Dark: 5, Light: 7}, Sheet: sheet, Life: calibrated(t, sheet), Rest: 10 * time.Minute, Stir: 30 * time.Second, SafetySheet: "https://maker.example/i1.pdf"}},
		Alarms:    Alarms{EndingBefore: time.Hour, StopAtRisk: 1},
		Others:    []string{"b3", "b1"},
		Clock:     "assume",
		Retention: Retention{Raw: 7 * 24 * time.Hour, Minutes: 7 * 24 * time.Hour},
		Language:  "en",
		TimeZone:  "Pacific/Auckland",
		Units:     Units{Temperature: "F"},
	}
	if diff := cmp.Diff(want, got, inside); diff != "" {
		t.Errorf("all keys (-want +got):\n%s", diff)
	}
	sheets := []SafetySheet{{"ink", "i1", "https://maker.example/i1.pdf"}, {"hardener", "h2", "/sheets/h2.pdf"}, {"thinner", "t1", "http://maker.example/t1"}}
	if diff := cmp.Diff(sheets, got.SafetySheets(got.Inks[0])); diff != "" {
		t.Errorf("safety data sheets (-want +got):\n%s", diff)
	}
}

// TestBrokerWithoutURL: with the built-in broker alone the address stays open, for
// its real port is known only once it listens; the other keys may still be set.
func TestBrokerWithoutURL(t *testing.T) {
	shop, err := Parse("b.yaml", []byte(smallest+"broker: {listen: \"127.0.0.1:0\"}\nmqtt: {commands: true}\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := MQTT{TopicPrefix: "potlife", Commands: true}
	if !cmp.Equal(shop.MQTT, want) || shop.Broker.Listen != "127.0.0.1:0" {
		t.Errorf("got %+v and %+v", shop.MQTT, shop.Broker)
	}
	shop, err = Parse("b.yaml", []byte(smallest+"broker: {}\n"))
	if err != nil || shop.Broker.Listen != "127.0.0.1:1883" {
		t.Errorf("an empty broker section: %+v, %v", shop.Broker, err)
	}
}

func TestReadOfAMissingFile(t *testing.T) {
	_, err := Read(filepath.Join(t.TempDir(), "none.yaml"))
	var faults *Faults
	if !errors.Is(err, os.ErrNotExist) || errors.As(err, &faults) {
		t.Errorf("got %v; want a file that does not exist, and no faults", err)
	}
}

func TestDurations(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"90d": 90 * day, "0d": 0, "0m": 0, "1d12h": 36 * time.Hour, "1h30m": 90 * time.Minute, "100ms": 100 * time.Millisecond, "1.5h": 90 * time.Minute,
	} {
		if got, ok := parseDuration(text); !ok || got != want {
			t.Errorf("%q is %v, %v; want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "0", "5", "d", "-5m", "+5m", "1.5d", "5 m", "5min", "1d-5m", "1h1d", "999999d", "99999d9999999h", "5M", "٣d"} {
		if got, ok := parseDuration(text); ok {
			t.Errorf("%q was taken for %v", text, got)
		}
	}
	for d, want := range map[time.Duration]string{0: "0s", time.Minute: "1m", 90 * time.Second: "1m30s", 10 * time.Second: "10s", time.Hour: "1h",
		70 * time.Minute: "1h10m", 48 * time.Hour: "2d", 100 * time.Millisecond: "100ms", 20 * time.Hour: "20h", 10 * time.Minute: "10m"} {
		if got := sayDuration(d); got != want {
			t.Errorf("%d ns is said as %q; want %q", d, got, want)
		}
		if back, ok := parseDuration(want); !ok || back != d {
			t.Errorf("%q reads back as %v", want, back)
		}
	}
}

func TestNearest(t *testing.T) {
	keys := []string{"id", "port", "baud", "mode", "line", "division_g", "zone"}
	for word, want := range map[string]string{"prot": "port", "bauds": "baud", "division": "division_g", "Zone": "zone", "diviison_g": "division_g",
		"colour": "", "x": "", "ids": "id", "": ""} {
		if got := nearest(word, keys); got != want {
			t.Errorf("nearest to %q is %q; want %q", word, got, want)
		}
	}
}
