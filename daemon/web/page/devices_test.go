package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
)

func TestDevicesInOrder(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.sees("#verdict", "The readings can be trusted")
	b.sees("#instruments", "bench-air")
	b.sees("#instruments", "23.4 °C, 51.0 % RH, read just now")
	b.sees("#instruments", "107.6 g, moving, read just now")
	b.sees("#instruments details", "Details") // what only who mends it needs is folded
	b.eventually("no raw text is open", `!document.querySelector("main").innerText.includes("9600 baud")`)
	b.click("#instruments li:has([aria-label='Out of service… (scale-1)']) summary")
	b.sees("#instruments", "9600 baud, 8N1")
	b.sees("#zones", "read just now by floor-air")
	b.sees("#rests-on", "Written to disk")
	b.sees("#rests-on", "Clock is set")
	if against := eval[int](b, `document.querySelectorAll("#verdict li").length`); against != 0 {
		t.Errorf("%d things stand against it", against)
	}
}

// TestACheckThatFailedWithdrawsTheVerdict: a sensor that reads on is not trusted when its
// last check did not pass.
func TestACheckThatFailedWithdrawsTheVerdict(t *testing.T) {
	t.Parallel()
	const why = "the check of bench-air on 2026-06-12 failed: it read 53.0 % RH, the reference 75.3 % RH; ±3.0 % RH is allowed"
	rows := shop(time.Now())
	sensors := rows["sensors"].([]view.Sensor)
	for i := range sensors {
		if sensors[i].ID == "bench-air" {
			sensors[i].CheckFailed = why
		}
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.sees("#verdict", "Not all readings can be trusted")
	b.sees("#verdict", "bench-air: Check failed: do not rely on it")
	b.sees("#instruments", why)

	rows["alarms"] = []view.Alarm{{Name: "sensor-overdue", Title: "Sensor needs a check", Subject: "bench-air", State: "unacknowledged", Priority: "low", Since: time.Now(), Text: why}}
	b.openAt(newFakeBench(t, rows), "/devices")
	b.sees("#instruments", "Sensor needs a check: "+why)
	if n := eval[int](b, `document.querySelector("#instruments").innerText.split("it read 53.0 %").length - 1`); n != 1 {
		t.Errorf("the failed check is told %d times beside the sensor", n)
	}
}

// TestAnAlarmThatIsOverAsksForNothing: its text says what to do, and beside "Over" nothing is to be done. It can be
// read in the details.
func TestAnAlarmThatIsOverAsksForNothing(t *testing.T) {
	t.Parallel()
	const what = "scale-1 is not connected. Plug it in and switch it on."
	rows := shop(time.Now())
	a := view.Alarm{Time: time.Now(), Name: "scale-silent", Title: "Scale not answering", Subject: "scale-1", About: "scale", State: "unacknowledged", Priority: "medium", Since: time.Now(), Text: what, Response: "Check the scale."}
	rows["alarms"] = []view.Alarm{a}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.sees("#alarms", what)
	a.State = "returned"
	f.send("alarm", a)
	b.sees("#alarms", "Over")
	b.eventually("the alarm asks for nothing", `!document.querySelector("main").innerText.includes("Plug it in")`)
	b.sees("#alarms", "scale-1: Scale not answering")
	b.click(".alarm-detail summary")
	b.sees(".alarm-raw", what)
}

// TestAlarmsOfInkAreFolded: a person who looks after the instruments finds their alarms first. Those of ink and presses
// are counted, and can be opened.
func TestAlarmsOfInkAreFolded(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["troubled"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.expect("503")
	b.openAt(f, "/devices")
	b.sees("#alarms", "floor-air: Sensor not answering")
	b.eventually("the ink's alarm is folded", `![...document.querySelectorAll("#alarms .alarm")].some((e) => e.checkVisibility() && e.innerText.includes("Batch ends soon"))`)
	b.sees("#alarms summary", "1 alarm about ink or presses")
	b.click(".alarms-elsewhere summary")
	b.sees(".alarms-elsewhere", "0612-2, dial-flat on press-2: Batch ends soon")
	b.openAt(f, "/presses")
	b.sees("#alarms", "0612-2, dial-flat on press-2: Batch ends soon")
}

func TestDevicesInTrouble(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["troubled"](rows, now)
	rows["readyz"] = []readyCheck{{Name: "journal", Detail: "no space left on device"}, {Name: "floor-air"}}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.expect("503")
	b.openAt(f, "/devices")
	b.sees("#verdict", "Not all readings can be trusted")
	for _, text := range []string{
		"floor-air: No fresh reading", "scale-1: Under maintenance until", "air of floor: Not to be relied on: no reading for 20 min",
		"Records: Not being saved", "Clock: the clock is not set",
	} {
		b.sees("#verdict", text)
	}
	b.sees("#instruments", "It has given no reading for 15 min")
	for _, raw := range []string{"/sys/class", "no space left"} {
		b.eventually("no raw text is open", fmt.Sprintf(`!document.querySelector("main").innerText.includes(%q)`, raw))
	}
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll(".device details").forEach((d) => (d.open = true))`))
	b.sees("#instruments", "read /sys/class/hwmon/hwmon2: no such device")
	b.sees("#rests-on", "no space left on device")
	b.sees("#instruments", "25.1 °C, 58.0 % RH, read 20 min ago")
	b.sees("#rests-on", "None is set up")
	shapes := eval[int](b, `new Set([...document.querySelectorAll("#instruments .device-sign")].map((e) => e.innerHTML)).size`)
	if shapes != 3 {
		t.Errorf("three conditions have %d shapes: they hang on colour", shapes)
	}

	b.sees("#lamps", "Confirms what it was told")
	b.sees("#lamps", "last confirmed 40 min ago")
	b.sees("#lamps", "Does not confirm: do not rely on it")
	b.sees("#lamps", "it shows: Good to print")
	b.sees("#lamps", "Cannot tell what it shows") // press-2

	b.sees("#alarms", "Look at its cable and its plug.")
	b.click(`[aria-label="Acknowledge: floor-air, Sensor not answering"]`)
	f.body(t, "alarms/sensor-stale/floor-air/acknowledge")

	// A working sensor that disagrees with another is not trusted, although nobody has seen the alarm.
	f.send("alarm", view.Alarm{Time: now, Name: "sensor-disagrees", Title: "Sensors disagree", Subject: "bench-air", State: "unacknowledged", Priority: "low", Since: now, Text: "bench-air reads 4 % more than its neighbour"})
	b.sees("#instruments", "It disagrees with the sensor beside it")
	b.sees("#instruments", "Sensors disagree: bench-air reads 4 % more")
}

// TestADisagreementWithdrawsTheVerdict: before its alarm, which has a delay.
func TestADisagreementWithdrawsTheVerdict(t *testing.T) {
	t.Parallel()
	const why = "bench-air reads 23.4 °C and 51 %, and bench-two beside it 23.5 °C and 63 %"
	rows := shop(time.Now())
	rows["sensors"].([]view.Sensor)[0].Disagrees = why
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.sees("#verdict", "Not all readings can be trusted")
	b.sees("#verdict", "bench-air: It disagrees with the sensor beside it")
	b.sees("#instruments", why)
	b.eventually("the alarms come right after the verdict", `document.querySelector("#verdict").nextElementSibling.id === "alarms"`)
}

func TestOutOfService(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 390, 844)
	row := view.Sensor{ID: "bench-air", Condition: "up", Since: now, OutOfService: at(now.Add(2 * time.Hour))}
	f.answer("out-of-service", 200, row)
	b.openAt(f, "/devices")
	b.act("Out of service…", "bench-air")
	b.fills("hours", "2")
	b.fills("reason", "salt test")
	b.looks("dialog-out", phone)
	b.press("Take it out")
	b.closed()
	body := f.body(t, "sensors/bench-air/out-of-service")
	until, err := time.Parse(time.RFC3339, body["until"].(string))
	if ahead := until.Sub(now); err != nil || ahead < 119*time.Minute || ahead > 121*time.Minute || body["reason"] != "salt test" {
		t.Errorf("sent %v", body)
	}
	b.sees("#instruments", "Under maintenance until")
	row.OutOfService = nil
	f.answer("in-service", 200, row)
	b.act("Back into service", "bench-air")
	f.body(t, "sensors/bench-air/in-service")
	b.eventually("it is back", `[...document.querySelectorAll('[aria-label="Out of service… (bench-air)"]')].some((e) => e.checkVisibility())`)
}

func TestDevicesWithoutContact(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 390, 844)
	b.expect("503")
	b.openAt(f, "/devices")
	b.sees("#verdict", "The readings can be trusted")
	f.cut()
	b.skip(31 * time.Second)
	b.sees("#verdict", "Not known: no contact with the bench")
}

// TestACheckIsRecorded records a check against a meter, then one over a salt.
func TestACheckIsRecorded(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 390, 844)
	row := view.Sensor{ID: "bench-air", Condition: "up", Since: now, CheckFailed: "the check of bench-air failed", CheckFinding: "solvent", CheckPoints: []view.SensorCheckPoint{
		{At: now, Salt: "magnesium-chloride", ReadPct: 33, ReferencePct: 33.1, AllowedPct: 3, Passed: true}, {At: now, Salt: "sodium-chloride", ReadPct: 66, ReferencePct: 75.5, AllowedPct: 3},
	}}
	f.answer("verifications", 200, row)
	b.openAt(f, "/devices")
	b.act("Check…", "bench-air")
	b.fills("humidity_pct", "58.4")
	b.looks("dialog-check", phone)
	b.press("Record the check")
	b.closed()
	if body := f.body(t, "sensors/bench-air/verifications"); body["humidity_pct"] != 58.4 || body["salt"] != nil {
		t.Errorf("sent %v", body)
	}
	b.sees("#instruments", "Check failed: do not rely on it")
	b.sees("#instruments", "solvent vapour has changed it")
	b.sees("#verdict", "Not all readings can be trusted")
	b.eventually("the picture of the checks is drawn again", `performance.getEntriesByType("resource").filter((e) => e.name.includes("pictures/checks")).length === 2`)
	b.eventually("its record can be printed", `document.querySelector("#instruments a[href='/checks/bench-air']").checkVisibility()`)
	b.act("Check…", "bench-air")
	b.press("Record the check") // nothing is filled in
	b.sees("dialog[open]", "Fill this in.")
	b.click(`dialog[open] input[value="salt"]`)
	b.press("Record the check")
	b.sees("dialog[open] fieldset:has([name=salt])", "Choose one of these.")
	b.sees("dialog[open]", "take the sensor out of service with the button “Out of service…” beside “Check…”")
	b.click(`dialog[open] input[value="sodium-chloride"]`)
	b.press("Record the check")
	b.closed()
	if body := f.body(t, "sensors/bench-air/verifications"); body["salt"] != "sodium-chloride" || body["humidity_pct"] != nil {
		t.Errorf("sent %v", body)
	}
}

// TestAScaleIsChecked takes readings from the scale itself.
func TestAScaleIsChecked(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 390, 844)
	f.answer("verifications", 200, view.Sensor{ID: "scale-1", Condition: "up", Since: now})
	b.openAt(f, "/devices")
	show := func(g float64) {
		f.send("scale", view.Scale{Time: time.Now(), ID: "scale-1", WeightG: &g, DivisionG: 0.1, Stable: true, Quality: "good"})
		b.sees("dialog[open]", fmt.Sprintf("The scale shows %.1f", g))
	}
	b.act("Check…", "scale-1")
	show(0.2)
	b.press("The pan is empty")
	b.fills("weights", "100 50")
	b.press("Take this reading") // the weights do not stand on the pan yet
	b.sees("dialog[open]", "The scale shows 0.2 g, and 150 g of weights are entered")
	for _, g := range []float64{150.2, 150.3, 150.2} {
		show(g)
		b.press("Take this reading")
	}
	b.looks("dialog-check-scale", phone)
	b.sees("dialog[open]", "150.0")
	b.press("Record the check")
	b.closed()
	body := f.body(t, "scales/scale-1/verifications")
	if got := fmt.Sprint(body["loads"], body["weight_class"]); got != "[map[readings_g:[150 150.1 150] weights_g:[100 50]]]M1" {
		t.Errorf("sent %s", got)
	}
}
