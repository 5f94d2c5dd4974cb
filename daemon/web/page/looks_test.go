package page

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"potlifed/daemon/record"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// scenes are states of a shop worth looking at.
var scenes = map[string]func(rows map[string]any, now time.Time){
	"pouring": func(map[string]any, time.Time) {},
	"over": func(rows map[string]any, now time.Time) {
		b := mixingAt(now, guide.Hardener)
		b.Components = append(b.Components, record.Component{Part: "hardener", G: 18})
		b.MixedAt = at(now.Add(-2 * time.Minute))
		b.Corrections = []mix.Correction{
			{Add: mix.Addition{InkG: 9.6}, ThinnerG: 8.8, TotalG: 96.4, To: mix.ToTolerance},
			{Add: mix.Addition{InkG: 12}, ThinnerG: 9, TotalG: 99, To: mix.ToExact},
		}
		b.Warnings = []string{"Hardener is +20.0 % off the ratio."}
		rows["batches"].([]record.BatchView)[0] = b
		rows["scales"] = []record.ScaleView{scaleRow(now, 104.2, true, b.ID, &record.PouringView{Part: "ink", PouredG: 14.2, TargetG: 9.6, LowG: 9.4, HighG: 13.8})}
	},
	"idle": func(rows map[string]any, now time.Time) {
		rows["batches"] = rows["batches"].([]record.BatchView)[1:3]
		rows["scales"] = []record.ScaleView{scaleRow(now, 0, true, "", nil)}
		rows["air"].([]record.AirView)[1].Quality = record.QualityUncertain
		rows["air"].([]record.AirView)[1].Why = "the last reading is older than three"
		rows["air"].([]record.AirView)[1].Time = now.Add(-90 * time.Second)
		rows["alarms"] = []record.AlarmView{}
	},
	"empty": func(rows map[string]any, now time.Time) {
		for name := range rows {
			delete(rows, name)
		}
		rows["batches"] = []record.BatchView{openBatch(now, "0612-1", "gloss-4", "press-1", -10*time.Minute, 20*time.Minute, 50*time.Minute)}
	},
	"resting": func(rows map[string]any, now time.Time) {
		step := guide.Rest
		b := openBatch(now, "0612-5", "matt-10", "", 6*time.Hour, 7*time.Hour, 8*time.Hour+20*time.Minute)
		b.State, b.Step, b.RestUntil, b.For = record.Resting, &step, at(now.Add(12*time.Minute)), "press-3"
		rows["batches"] = append(rows["batches"].([]record.BatchView)[1:3], b)
		rows["scales"] = []record.ScaleView{scaleRow(now, 0, true, "", nil)}
	},
}

// Nothing is cut off or too small to hit with a glove, on a wide, a tall and a small
// screen. With -artifacts the pictures are kept, to be looked at.
func TestFitsEveryScreen(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	shots := t.ArtifactDir()
	for name, set := range scenes {
		now := time.Now()
		rows := shop(now)
		set(rows, now)
		f := newFakeBench(t, rows)
		b.open(f)
		b.sees("#batches", "0612-1")
		for _, size := range [][2]int64{{1280, 800}, {800, 1280}, {390, 844}} {
			for _, scheme := range []string{"light", "dark"} {
				look := fmt.Sprintf("%s-%dx%d-%s", name, size[0], size[1], scheme)
				b.run(chromedp.EmulateViewport(size[0], size[1]), media("prefers-color-scheme", scheme))
				b.eventually("drawn anew", fmt.Sprintf("innerWidth === %d && new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))", size[0]))
				if wide := eval[float64](b, "document.documentElement.scrollWidth"); int64(wide) > size[0] {
					t.Errorf("%s: the page is %v px wide", look, wide)
				}
				for _, low := range eval[[]string](b, smallTargets) {
					t.Errorf("%s: too small: %s", look, low)
				}
				for _, faint := range eval[[]string](b, faintText) {
					t.Errorf("%s: too faint: %s", look, faint)
				}
				picture, err := chromedp.Run(b, chromedp.FullScreenshot(100))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(shots, look+".png"), picture, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
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

// smallTargets lists what is to be pressed and is lower than 64 px in the mixing part, or
// than 44 px elsewhere (WCAG 2.2, 2.5.5, asks for 44).
const smallTargets = `[...document.querySelectorAll("button, .chip, summary, dialog input")]
	.filter((e) => e.checkVisibility())
	.map((e) => [e, e.getBoundingClientRect(), e.closest(".mix") && e.tagName !== "SUMMARY" ? 64 : 44])
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
