package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
)

// newShop is a shop with nothing plugged in: no line has come from its scale, no reading from
// a sensor.
func newShop(now time.Time) map[string]any {
	rows := shop(now)
	rows["batches"], rows["alarms"] = []view.Batch{}, []view.Alarm{}
	rows["scales"] = []view.Scale{{
		ID: "scale-1", DivisionG: 0.1, Quality: view.QualityBad,
		Why: `open serial port "/dev/serial/by-id/usb-A_Maker_of_Adapters_With_A_Long_Name_USB_to_RS232_Converter_0123456789ABCDEF-if00-port0": it is not there`,
	}}
	air := rows["air"].([]view.Air)
	for i := range air {
		air[i] = view.Air{Zone: air[i].Zone, Quality: view.QualityBad, Why: "no reading yet"}
	}
	return rows
}

// TestNewShopIsWelcomed: where nothing has come from the scale yet, the page says what to plug
// in and how to look, Start says why it waits, and both end with the first weight.
func TestNewShopIsWelcomed(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, newShop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".welcome", "Nothing has come from scale-1 yet")
	b.sees(".welcome", "potlifed listen --port")
	b.sees(".start", "Start waits for scale-1: nothing has come from it yet.")
	b.sees(".start", "the pot life is computed for assumed air")
	const start = `[...document.querySelectorAll(".start button")].find((e) => e.innerText === "Start this mix")`
	b.eventually("Start waits", start+".disabled === true")
	b.eventually("the raw words are behind the details", `!document.querySelector(".welcome-raw").checkVisibility() && !document.querySelector("main").innerText.includes("open serial port")`)
	b.looks("bench-welcome", wide, tall, phone, zoom, size{320, 640})

	f.send("air", airRow(now, "bench", 21, 45, 9))
	f.send("scale", scaleRow(now, 0, true, "", nil))
	b.eventually("Start is free", start+".disabled === false")
	b.eventually("nobody is welcomed twice", `!document.querySelector(".welcome").checkVisibility() && ![...document.querySelectorAll(".start-waits")].some((e) => e.checkVisibility())`)
	b.sees(".weight", "settled")

	// A scale that was heard and shows nothing is no new one.
	gone := scaleRow(now, 0, true, "", nil)
	gone.WeightG, gone.Quality, gone.Why = nil, view.QualityBad, "it was unplugged"
	f.send("scale", gone)
	b.sees(".start", "Start waits for scale-1: it shows no weight at the moment.")
	b.eventually("Start waits again", start+".disabled === true")
	b.eventually("the weight stays", `document.querySelector(".weight").checkVisibility() && !document.querySelector(".welcome").checkVisibility()`)
}

// Nothing in the welcome breaches WCAG.
func TestWelcomeIsAccessible(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	b.open(newFakeBench(t, newShop(time.Now())))
	b.sees(".welcome", "potlifed listen")
	b.accessible(axe, "the welcome", wide, phone)
}
