package page

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// scenes are states of a shop worth looking at.
var scenes = map[string]func(rows map[string]any, now time.Time){
	"pouring": func(map[string]any, time.Time) {},
	"over": func(rows map[string]any, now time.Time) {
		b := mixingAt(now, guide.Hardener)
		b.Components = append(b.Components, mix.Component{Part: "hardener", G: 20})
		b.MixedAt = at(now.Add(-2 * time.Minute))
		b.Corrections = []mix.Correction{
			{Add: mix.Addition{InkG: 10.4}, ThinnerG: 8.1, TotalG: 123.5, To: mix.ToTolerance},
			{Add: mix.Addition{InkG: 15}, ThinnerG: 8.4, TotalG: 128.4, To: mix.ToExact},
		}
		b.Warnings = []string{"Hardener is +17.6 % off the ratio."}
		rows["batches"].([]view.Batch)[0] = b
		rows["scales"] = []view.Scale{scaleRow(now, 124.6, true, b.ID, &view.Pouring{Part: "ink", PouredG: 2, TargetG: 10.4, LowG: 10.3, HighG: 20.2})}
	},
	// Too much hardener, and no room in the cup for the ink that it needs.
	"stuck": func(rows map[string]any, now time.Time) {
		b := mixingAt(now, guide.Hardener)
		b.Components = append(b.Components, mix.Component{Part: "hardener", G: 21.8})
		b.MixedAt = at(now.Add(-2 * time.Minute))
		b.NoRoom = "There is no room in this cup to put this right. Use it with a reason, or scrap the mix."
		b.Warnings = []string{b.NoRoom, "28 % too much hardener."}
		rows["batches"].([]view.Batch)[0] = b
		rows["scales"] = []view.Scale{scaleRow(now, 107.6, true, b.ID, nil)}
	},
	// A mix that was used although it is out of ratio waits for its press.
	"faulty": func(rows map[string]any, now time.Time) {
		b := openBatch(now, "0612-5", "dial-flat", "", 6*time.Hour, 7*time.Hour, 8*time.Hour+20*time.Minute)
		b.Step, b.For = at(guide.Load), "press-1"
		b.Warnings = []string{
			"28 % too much hardener.", "Thinner is 2.1 %; this ink takes 6 to 14 %.",
			"The scale showed zero when the cup was taken: it must have been on the scale and tared.",
			"The last day of hardener can ha-01 was 1 June 2026.",
		}
		b.RatioReason = "Only for a trial print"
		b.Ratio = &view.Ratio{InkPerHardener: 6.25, OffPct: 28, UncertaintyPct: 1.1, TolerancePct: 5}
		rows["batches"] = append(rows["batches"].([]view.Batch)[1:3], b)
		rows["scales"] = []view.Scale{scaleRow(now, 0, true, "", nil)}
	},
	"waiting": func(rows map[string]any, now time.Time) {
		rows["batches"] = append(rows["batches"].([]view.Batch), asideAt(now, "0612-7", guide.StirHardener), asideAt(now, "0612-8", guide.Thinner))
		rows["batches"].([]view.Batch)[0] = mixingAt(now, guide.StirHardener)
		rows["scales"] = []view.Scale{scaleRow(now, 119.6, true, "0612-4", nil)}
	},
	"which-cup": func(rows map[string]any, now time.Time) {
		rows["batches"] = append(rows["batches"].([]view.Batch), asideAt(now, "0612-7", guide.StirHardener))
		rows["batches"].([]view.Batch)[0] = mixingAt(now, guide.Thinner)
		row := scaleRow(now, 119.6, true, "0612-4", nil)
		row.WhichCup = []string{"0612-4", "0612-7"}
		rows["scales"] = []view.Scale{row}
	},
	"idle": func(rows map[string]any, now time.Time) {
		rows["batches"] = rows["batches"].([]view.Batch)[1:3]
		rows["scales"] = []view.Scale{scaleRow(now, 0, true, "", nil)}
		rows["air"].([]view.Air)[1].Quality = view.QualityUncertain
		rows["air"].([]view.Air)[1].Why = "the last reading is older than three"
		rows["air"].([]view.Air)[1].Time = now.Add(-90 * time.Second)
		rows["alarms"] = []view.Alarm{}
		rows["pin_set"] = true
		rows["sessions"] = []map[string]any{{"id": "aaaaaaaaaaaa", "device": "Tablet at the bench", "made": now, "until": now.Add(720 * time.Hour), "mine": false}}
	},
	"empty": func(rows map[string]any, now time.Time) {
		for name := range rows {
			delete(rows, name)
		}
		rows["batches"] = []view.Batch{openBatch(now, "0612-1", "dial-satin", "press-1", -10*time.Minute, 20*time.Minute, 50*time.Minute)}
	},
	// Faults of all kinds, at the presses and with the devices.
	"troubled": func(rows map[string]any, now time.Time) {
		old := openBatch(now, "0612-2", "dial-flat", "press-2", -40*time.Minute, -20*time.Minute, -5*time.Minute)
		old.Quality, old.Why = view.QualityBad, "no air from any sensor of zone floor for 20 min"
		rows["batches"].([]view.Batch)[2] = old
		four := openBatch(now, "0612-5", "gauge-quick", "press-4", 20*time.Minute, 40*time.Minute, 65*time.Minute)
		rows["batches"] = append(rows["batches"].([]view.Batch), four)
		presses := rows["presses"].([]view.Press)
		presses[1].Light, presses[1].Flashing, presses[1].Reason = light.Unknown, true, "its air is not known"
		presses[2].Light, presses[2].Flashing, presses[2].Reason = light.DoNotPrint, true, "0612-0 went off"
		rows["presses"] = append(presses, view.Press{ID: "press-4", Zone: "floor", Cup: "cup-110", Batch: &four.ID, Light: light.Soon, Reason: "the batch ends soon"})
		lights := rows["lights"].([]view.Light)
		lights[2] = lamp(now, "press-3", light.DoNotPrint, true, "0612-0 went off", "0612-0")
		lights[0].Confirmation, lights[0].ConfirmedAt = light.ReportConfirmed, at(now.Add(-12*time.Second))
		lights[2].Confirmation, lights[2].ConfirmedAt, lights[2].Says = light.ReportSilent, at(now.Add(-40*time.Minute)), "in-order"
		air := rows["air"].([]view.Air)
		air[1].Quality, air[1].Why, air[1].Time = view.QualityBad, "no reading for 20 min", now.Add(-20*time.Minute)
		instruments := rows["sensors"].([]view.Sensor)
		instruments[1].ReadAt = now.Add(-20 * time.Minute)
		instruments[1].Condition, instruments[1].Since, instruments[1].Detail = "stale", now.Add(-15*time.Minute), "read /sys/class/hwmon/hwmon2: no such device"
		instruments[1].Text = "It has given no reading for 15 min: check its cable and its plug."
		instruments[2].OutOfService = at(now.Add(2 * time.Hour))
		rows["alarms"] = append(rows["alarms"].([]view.Alarm),
			view.Alarm{Time: now, Name: "sensor-stale", Title: "Sensor not answering", Subject: "floor-air", About: "sensor", State: "unacknowledged", Priority: "medium", Since: now.Add(-15 * time.Minute), Text: "floor-air has given no reading for 20 min", Response: "Look at its cable and its plug."},
			view.Alarm{Time: now, Name: "clock", Title: "Clock not set", Subject: "bench-1", About: "bench", State: "acknowledged", Priority: "low", Since: now.Add(-2 * time.Hour), Text: "the clock is not set", By: "local"})
	},
	"plant": func(rows map[string]any, now time.Time) { rows["neighbours"] = hall(now) },
	"resting": func(rows map[string]any, now time.Time) {
		step := guide.Rest
		b := openBatch(now, "0612-5", "dial-flat", "", 6*time.Hour, 7*time.Hour, 8*time.Hour+20*time.Minute)
		b.State, b.Step, b.RestUntil, b.For = lifecycle.Resting, &step, at(now.Add(12*time.Minute)), "press-3"
		rows["batches"] = append(rows["batches"].([]view.Batch)[1:3], b)
		rows["scales"] = []view.Scale{scaleRow(now, 0, true, "", nil)}
	},
}

// shownAt are the scenes that differ on a page, beside that of "pouring". The bench's page shows
// all of them.
var shownAt = map[string][]string{
	"/presses": {"idle", "resting", "troubled", "plant", "empty"},
	"/devices": {"idle", "troubled", "empty"},
	"/cans":    {"empty"},
}

// shows tells whether a scene is another one on a page than "pouring".
func shows(path, scene string) bool {
	return path == "/" && scene != "plant" || scene == "pouring" || slices.Contains(shownAt[path], scene)
}

// size is a screen. That of 640 by 400 is one of 1280 by 800 at 200 % zoom.
type size struct{ width, height int64 }

var (
	wide  = size{1280, 800}
	tall  = size{800, 1280}
	phone = size{390, 844}
	wall  = size{1920, 1080}
	zoom  = size{640, 400}
)

// Nothing is cut off, too small for a finger in a glove, or too faint, on any screen that a page is
// made for. With -artifacts the pictures are kept, to be looked at.
func TestFitsEveryScreen(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1280, 800)
	for _, c := range []struct {
		path, scene string
		sizes       []size
	}{
		{"/", "idle", []size{wide, tall, phone}},
		{"/", "empty", []size{wide, phone}},
		{"/presses", "pouring", []size{wall, wide, tall, phone, zoom}},
		{"/presses", "troubled", []size{wall, phone}},
		{"/presses", "empty", []size{wall}},
		{"/devices", "pouring", []size{wide, tall, phone, zoom}},
		{"/devices", "troubled", []size{wide, phone}},
		{"/devices", "empty", []size{phone}},
	} {
		now := time.Now()
		rows := shop(now)
		scenes[c.scene](rows, now)
		f := newFakeBench(t, rows)
		b.openAt(f, c.path)
		if c.path != "/devices" {
			b.drawn(c.path)
		}
		b.looks(strings.Trim("page"+strings.ReplaceAll(c.path, "/", "-"), "-")+"-"+c.scene, c.sizes...)
		for _, s := range c.sizes {
			b.run(chromedp.EmulateViewport(s.width, s.height))
			b.redrawn(s)
			if hidden := eval[float64](b, notesOutOfSight); hidden > 1 {
				t.Errorf("%s %s at %dx%d: %v px of what is said of the mix are out of sight", c.path, c.scene, s.width, s.height, hidden)
			}
		}
	}
}

// looks judges what is shown on each of the screens, light and dark, and takes its picture.
func (b *browser) looks(name string, sizes ...size) {
	b.t.Helper()
	for _, s := range sizes {
		for _, scheme := range []string{"light", "dark"} {
			look := fmt.Sprintf("%s-%dx%d-%s", name, s.width, s.height, scheme)
			b.run(chromedp.EmulateViewport(s.width, s.height), media("prefers-color-scheme", scheme))
			b.redrawn(s)
			if wide := eval[float64](b, "document.documentElement.scrollWidth"); int64(wide) > s.width {
				b.t.Errorf("%s: the page is %v px wide", look, wide)
			}
			for what, script := range map[string]string{"too small": smallTargets, "too faint": faintText} {
				for _, found := range eval[[]string](b, script) {
					b.t.Errorf("%s: %s: %s", look, what, found)
				}
			}
			b.keepsPicture(look)
		}
	}
}

// notesOutOfSight is how many px of the notes of a mix one has to scroll for.
const notesOutOfSight = `(() => { const n = document.querySelector(".mix-notes"); return n?.checkVisibility() ? n.scrollHeight - n.clientHeight : 0; })()`

// redrawn waits until the page is drawn on a screen of another size.
func (b *browser) redrawn(s size) {
	b.t.Helper()
	b.eventually("drawn again", fmt.Sprintf("innerWidth === %d && %s", s.width, twoFrames))
}

// keepsPicture takes a picture of the page where -artifacts asks for it.
func (b *browser) keepsPicture(name string) {
	b.t.Helper()
	if !keepsPictures() {
		return
	}
	take := chromedp.FullScreenshot(100)
	if eval[bool](b, `document.querySelector("dialog[open]") !== null || document.documentElement.scrollHeight > 16000`) {
		take = chromedp.CaptureScreenshot() // what lies below a dialog cannot be reached, and so large a picture is refused
	}
	picture, err := chromedp.Run(b, take)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(b.t.ArtifactDir(), name+".png"), picture, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// pictures takes pictures of what is shown on each screen, in light and dark colours, where -artifacts asks for them.
func (b *browser) pictures(what string) {
	b.t.Helper()
	if !keepsPictures() {
		return
	}
	name := strings.Trim(regexp.MustCompile(`[^A-Za-z0-9]+`).ReplaceAllString(what, "-"), "-")
	screens := []size{wide, tall, phone}
	if strings.Contains(what, "wall") {
		screens = []size{wall}
	}
	for _, s := range screens {
		for _, scheme := range []string{"light", "dark"} {
			b.run(chromedp.EmulateViewport(s.width, s.height), media("prefers-color-scheme", scheme))
			b.redrawn(s)
			b.keepsPicture(fmt.Sprintf("axe-%s-%dx%d-%s", name, s.width, s.height, scheme))
		}
	}
}

// keepsPictures tells whether -artifacts asks for pictures.
func keepsPictures() bool {
	kept := flag.Lookup("test.artifacts")
	return kept != nil && kept.Value.String() == "true"
}

// media sets a media feature that style sheets can ask for.
func media(name, value string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: name, Value: value}},
		})
		return err
	})
}

// smallTargets lists what is to be pressed and is lower than a gloved hand needs, and links
// lower than 44 px (WCAG 2.2, 2.5.5).
const smallTargets = `[...document.querySelectorAll("button, .chip, summary, dialog input, nav a")]
	.filter((e) => e.checkVisibility())
	.map((e) => [e, e.getBoundingClientRect(), e.tagName === "A" ? 44 : 64])
	.filter(([, r, least]) => r.height < least || r.width < 44)
	.map(([e, r]) => e.innerText + " " + Math.round(r.width) + "x" + Math.round(r.height))`

// faintText lists texts whose contrast to the ground behind them is below 4.5 : 1 (WCAG 2.2,
// 1.4.3; its relative luminance).
const faintText = `(() => {
	const parse = (c) => (c.match(/[\d.]+/g) ?? []).map(Number);
	const lum = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
		.reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ground = (e) => {
		for (; e; e = e.parentElement) {
			const c = parse(getComputedStyle(e).backgroundColor);
			if (c.length === 3 || c[3] === 1) return c;
		}
		return [255, 255, 255];
	};
	return [...document.querySelectorAll("body *")].filter((e) => e.checkVisibility() && [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())).map((e) => {
		const [a, b] = [lum(parse(getComputedStyle(e).color)), lum(ground(e))];
		return [(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), e];
	}).filter(([ratio]) => ratio < 4.5).map(([ratio, e]) => ratio.toFixed(2) + " " + e.innerText);
})()`
