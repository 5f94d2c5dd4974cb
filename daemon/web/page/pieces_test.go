package page

import (
	"encoding/json"
	"testing"
)

// The small pieces by themselves: an expression over a module m, and what it comes to.
func TestPieces(t *testing.T) {
	b := openBrowser(t, 800, 600)
	b.open(newFakeBench(t, nil))
	for _, c := range []struct{ module, expression, want string }{
		{"format", `m.duration(90)`, `"90 s"`},
		{"format", `m.duration(119.4)`, `"119 s"`},
		{"format", `m.duration(119.6)`, `"2 min"`},
		{"format", `m.duration(59.6*60)`, `"1 h 00 min"`},
		{"format", `m.duration(-5)`, `"0 s"`},
		{"format", `m.remaining({expected: 22200, low: 18300, high: 27600})`, `{"figure":"6 h 10 min","band":"between 5 h 05 and 7 h 40"}`},
		{"format", `m.remaining({expected: 2520, low: 1860, high: 3300})`, `{"figure":"42 min","band":"between 31 and 55 min"}`},
		{"format", `m.remaining({expected: 4200, low: 2700, high: 4800})`, `{"figure":"1 h 10 min","band":"between 45 min and 1 h 20"}`},
		{"format", `m.remaining({expected: 600, low: -60, high: 4800})`, `{"figure":"10 min","band":"between now and 1 h 20"}`},
		{"format", `m.remaining({expected: -60, low: -600, high: 120})`, `{"figure":"about over","band":"between now and 2 min"}`},
		{"format", `m.remaining({expected: -600, low: -900, high: -240})`, `{"figure":"past its time","band":"the latest end was 4 min ago"}`},
		{"format", `m.pipettes(7.5)`, `"about 3¾ pipettes of 2 g"`},
		{"format", `m.pipettes(2)`, `"about 1 pipette of 2 g"`},
		{"format", `m.pipettes(1)`, `"about ½ pipette of 2 g"`},
		{"format", `m.pipettes(0.1)`, `"less than ¼ pipette of 2 g"`},
		{"format", `[60, 60.5, 60.25, 0.1 + 0.2].map(m.decimalsOf)`, `[0,1,2,1]`},
		{"format", `[m.number(-0.04, 1), m.number(-3, 0)]`, `["0.0","−3"]`},
		{"format", `m.countdown(599.2)`, `"10:00 min"`},

		{"axis", `m.span([], 0) / 3600e3`, `2`},
		{"axis", `m.span([{ends_at: {high: new Date(7 * 3600e3)}}], 0) / 3600e3`, `7.5`},
		{"axis", `m.span([{ends_at: {high: new Date(90 * 3600e3)}}], 0) / 3600e3`, `24`},
		{"axis", `[m.place(-5, 0, 100), m.place(25, 0, 100), m.place(500, 0, 100)]`, `[0,0.25,1]`},
		{"axis", `m.ticks(new Date(2026, 5, 12, 9, 17).getTime(), 4 * 3600e3, 8).map((t) => new Date(t).getHours() * 100 + new Date(t).getMinutes())`,
			`[1000,1030,1100,1130,1200,1230,1300]`},
		{"axis", `m.firstDying([{id: "a"}, {id: "b", ends_at: {low: "2026-06-12T12:00:00Z"}}, {id: "c", ends_at: {low: "2026-06-12T13:00:00+02:00"}}]).map((b) => b.id)`, `["c","b","a"]`},

		{"bar", `[5, 12.2, 14.25, 15.75, 15.8].map((g) => m.pourState({poured_g: g, target_g: 15, low_g: 14.25, high_g: 15.75}))`,
			`["below","near","at","at","over"]`},
		{"bar", `[m.barLength({target_g: 16, high_g: 17}), m.barLength({target_g: 50, high_g: 100})]`, `[20,108]`},

		{"signs", `new Set(["do-not-print", "unknown", "act", "soon", "in-order", "empty"].map((s) => m.sign(s).innerHTML)).size`, `6`},
		{"signs", `m.sign("something new").outerHTML === m.sign("unknown").outerHTML`, `true`},

		{"corrections", `m.correctionWords({add: {ink_g: 20, hardener_g: 5}, thinner_g: 9, total_g: 110, to: "exact"})`,
			`{"add":"Add 20.0 g of ink, then 5.0 g of hardener","aim":"exactly on the recipe","total":"The finished mix will be 110.0 g, 9.0 g of it thinner."}`},
		{"corrections", `m.firstPart({add: {hardener_g: 5, ink_g: 0}})`, `"hardener"`},

		// Events cut at every place, with comments, both line ends and several lines of data.
		{"stream", `(() => {
			const text = ": open\n\nevent: scale\ndata: {\"a\":1}\n\nevent: batch\r\ndata: x\r\ndata:y\r\n\r\n:\nevent: empty\n\ndata: z\n\n";
			const whole = [];
			m.eventParser((n, d) => whole.push(n + "=" + d))(text);
			for (let i = 0; i <= text.length; i++) {
				const got = [];
				const feed = m.eventParser((n, d) => got.push(n + "=" + d));
				feed(text.slice(0, i));
				feed(text.slice(i));
				if (JSON.stringify(got) !== JSON.stringify(whole)) return [i, got];
			}
			return whole;
		})()`, `["scale={\"a\":1}","batch=x\ny","message=z"]`},

		// What the stream said after a list was asked for is newer than the list.
		{"store", `(() => {
			let t = 0;
			const s = new m.Store(() => {}, () => t);
			s.put("batches", {id: "gone", state: "open"});
			t = 10;
			s.put("batches", {id: "x", state: "closed"});
			s.put("batches", {id: "y", state: "open", n: 2});
			s.replace("batches", [{id: "x", state: "open"}, {id: "y", state: "open", n: 1}, {id: "z", state: "open"}], 5);
			return s.all("batches").map((b) => b.id + (b.n ?? ""));
		})()`, `["y2","z"]`},
		// What the stream held back is older than the answer to a change made meanwhile; of another
		// journal, whose numbers begin anew, a list tells.
		{"store", `(() => {
			let t = 0;
			const s = new m.Store(() => {}, () => t);
			s.put("batches", {id: "x", seq: 7, press: "press-1"});
			t = 10;
			s.put("batches", {id: "x", seq: 6, press: null});
			const got = [s.get("batches", "x").press];
			s.put("batches", {id: "x", seq: 7, press: "press-2"});
			got.push(s.get("batches", "x").press);
			s.replace("batches", [{id: "x", seq: 2, press: "press-3"}], 11);
			got.push(s.get("batches", "x").press);
			return got;
		})()`, `["press-1","press-2","press-3"]`},
		{"store", `(() => {
			const s = new m.Store(() => {}, () => 0);
			s.put("alarms", {name: "clock", subject: "bench", state: "acknowledged"});
			s.put("alarms", {name: "queue", subject: "bench", state: "normal"});
			return s.all("alarms").map((a) => a.name);
		})()`, `["clock"]`},

		// The page's own clock is an hour slow; rows set it right, and late ones do not set it back.
		{"clock", `(() => {
			let mono = 0;
			const c = new m.BenchClock(() => mono, () => 0);
			const got = [c.now()];
			c.saw(3600e3); got.push(c.now());
			mono = 500; c.saw(3600e3 + 300); got.push(c.now());
			mono = 10e3; got.push(c.now());
			return got;
		})()`, `[0,3600000,3600500,3610000]`},
		// A scale that was never heard says nothing of the time.
		{"clock", `(() => {
			const c = new m.BenchClock(() => 0, () => 5000);
			c.saw(Date.parse(undefined));
			return [c.now(), c.known];
		})()`, `[5000,false]`},
		// A time lapse of 60 is found, and the time between rows runs at that speed.
		{"clock", `(() => {
			let mono = 0;
			const c = new m.BenchClock(() => mono, () => 0);
			for (let i = 0; i <= 6; i++) { mono = i * 1000; c.saw(i * 60e3); }
			mono += 500;
			return [Math.round(c.rate), Math.round(c.now() / 1000)];
		})()`, `[60,390]`},
		// A clock that was set forward, and one that was set back, is followed but is no rate.
		{"clock", `(() => {
			let mono = 0;
			const c = new m.BenchClock(() => mono, () => 0);
			for (let i = 0; i <= 6; i++) { mono = i * 1000; c.saw(i * 1000); }
			mono = 7000; c.saw(7000 + 7200e3);
			const forward = c.now();
			for (let i = 8; i <= 9; i++) { mono = i * 1000; c.saw(i * 1000); }
			return [forward, c.now(), c.rate];
		})()`, `[7207000,9000,1]`},

		{"steps", `m.stepsOf({step: "ink", targets_g: {thinner: 7.5}, components: []}, {rest_s: 900})`,
			`["cup","ink","hardener","stir-hardener","thinner","stir-thinner","rest","load"]`},
		{"steps", `m.stepsOf({step: "ink", targets_g: {thinner: 0}, components: []}, {rest_s: 0})`, `["cup","ink","hardener","stir-hardener","load"]`},
		{"steps", `m.ahead({step: "stir-hardener", targets_g: {thinner: 7.5}, components: []}, {})`, `"about 7.5 g of thinner, about 3¾ pipettes of 2 g"`},
	} {
		got := eval[string](b, `import("/assets/`+c.module+`.js").then((m) => JSON.stringify(`+c.expression+`).replaceAll("\u00a0", " "))`)
		if !sameJSON(got, c.want) {
			t.Errorf("%s: %s\n got %s\nwant %s", c.module, c.expression, got, c.want)
		}
	}
}

func sameJSON(a, b string) bool {
	var x, y any
	if json.Unmarshal([]byte(a), &x) != nil || json.Unmarshal([]byte(b), &y) != nil {
		return false
	}
	p, _ := json.Marshal(x)
	q, _ := json.Marshal(y)
	return string(p) == string(q)
}
