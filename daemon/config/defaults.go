package config

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/evaporate"
)

// defaults holds every default of the configuration. The single sections are as
// they are when the file leaves them out. Each list has one entry, from which every
// entry of the file starts and whose empty fields are either required or follow
// from other entries (see inherit). When the file has no cups, presses or lights,
// the entry itself is used.
func defaults() Shop {
	return Shop{
		DataDir: "/var/lib/potlifed",
		HTTP:    HTTP{Listen: "127.0.0.1:9755"},
		MQTT:    MQTT{TopicPrefix: "potlife"},
		Broker:  Broker{Listen: "127.0.0.1:1883"}, // when there is a broker section
		Scales: []Scale{{
			Baud: 9600, Mode: "8N1", Line: "auto", Every: 200 * time.Millisecond,
			DivisionG: 1, CapacityG: 2000,
		}},
		Sensors: []Sensor{{
			Source: Hwmon, Every: 5 * time.Second, StaleAfter: 5 * time.Minute,
			Baud: 9600, Mode: "8N1", Unit: 1, Registers: "input", WordOrder: "high-first",
			Temperature: Quantity{Type: "int16", Factor: 1}, Humidity: Quantity{Type: "int16", Factor: 1},
			// The 0.3 K and 2 % that makers of common chips call typical.
			Accuracy: cure.Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2},
		}},
		Trends: []Trend{{
			Source: Published, Baud: 9600, Mode: "8N1", Every: time.Second, Factor: 1, StaleAfter: 10 * time.Minute,
		}},
		Cups: []Cup{{
			ID: "cup-90", InkMinimumG: 60, FillMaximumG: 110,
			MouthMM: evaporate.DefaultMouthMM, Exposure: 1, Lag: 10 * time.Minute,
		}},
		Presses: []Press{{ID: "press-1"}},
		Lights:  []Light{{Reads: []string{"json", "meaning", "colour"}, ConfirmWithin: 10 * time.Second}},
		Inks: []Ink{{
			RatioTolerancePct: 5,
			Stir:              20 * time.Second, // as long as a thorough stir takes; an assumption, no source
			// Common practice in pad printing, no source.
			ThinnerPct: ThinnerPct{Min: 10, Max: 20, Dark: 10, Light: 12},
			// The ends of the humidity range and the activation energy are
			// assumptions; data sheets rarely give them.
			Sheet: cure.Sheet{
				AtTemperatureC: cure.DefaultSheetTemperatureC, DryPct: cure.DefaultDryPct, HumidPct: cure.DefaultHumidPct,
				ActivationKJPerMol: cure.DefaultActivationKJPerMol,
			},
		}},
		Alarms:    Alarms{EndingBefore: 30 * time.Minute, MixingTakes: 15 * time.Minute, StopAtRisk: 0.25},
		Clock:     "kernel",
		Retention: Retention{Raw: 14 * day, Minutes: 400 * day},
		Language:  "en",
		Units:     Units{Temperature: "C"},
	}
}

// publishedEvery is the default of every for readings that come over MQTT: wireless sensors save
// their batteries.
const publishedEvery = time.Minute

// inherit fills what follows from other entries: a scale stands in the first
// sensor's zone, a press in the first scale's, with the first cup, and each press
// has a light under its own id.
func inherit(shop *Shop) {
	standard := defaults()
	if len(shop.Cups) == 0 {
		shop.Cups = standard.Cups
	}
	if len(shop.Presses) == 0 {
		shop.Presses = standard.Presses
	}
	for i := range shop.Scales {
		if shop.Scales[i].Zone == "" && len(shop.Sensors) > 0 {
			shop.Scales[i].Zone = shop.Sensors[0].Zone
		}
	}
	for i := range shop.Presses {
		press := &shop.Presses[i]
		if press.Zone == "" && len(shop.Scales) > 0 {
			press.Zone = shop.Scales[0].Zone
		}
		if press.Cup == "" {
			press.Cup = shop.Cups[0].ID
		}
	}
	if len(shop.Lights) == 0 {
		for _, press := range shop.Presses {
			light := defaults().Lights[0]
			light.ID, light.Presses = press.ID, []string{press.ID}
			shop.Lights = append(shop.Lights, light)
		}
	}
}
