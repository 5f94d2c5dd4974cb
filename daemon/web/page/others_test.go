package page

import (
	"testing"
	"time"

	"potlifed/daemon/neighbours"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

// hall is a plant's floor: one bench that is heard, one that is offline, one of which
// nothing was heard.
func hall(now time.Time) []neighbours.Bench {
	open := func(id, ink, press string, low, expected, high time.Duration) neighbours.Batch {
		return neighbours.Batch{
			ID: id, Ink: ink, Press: press, Zone: "hall", State: lifecycle.Open, Quality: view.QualityGood,
			EndsAt: &view.Ends{Low: now.Add(low), Expected: now.Add(expected), High: now.Add(high)},
		}
	}
	doubtful := open("0612-7", "dial-flat", "press-2", 20*time.Minute, 45*time.Minute, 80*time.Minute)
	doubtful.Quality, doubtful.Why = view.QualityUncertain, "part of its life was spent in air that was not well known"
	old := neighbours.Batch{ID: "0612-3", Ink: "dial-bend", Press: "press-1", Zone: "hall", State: lifecycle.Open, Quality: view.QualityBad, Why: "its bench is offline", AsOf: at(now.Add(-12 * time.Minute))}
	return []neighbours.Bench{
		{
			ID: "bench-2", Contact: neighbours.Online, HeardAt: &now,
			Presses: []neighbours.Press{
				{ID: "press-1", Meaning: light.InOrder, Reason: "enough life left", Batch: "0612-6"},
				{ID: "press-2", Meaning: light.Soon, Flashing: true, Reason: "ends soon: make the next mix", Batch: "0612-7"},
				{ID: "press-3", Meaning: light.Empty, Reason: "nothing loaded"},
			},
			Batches: []neighbours.Batch{open("0612-6", "dial-satin", "press-1", 3*time.Hour, 4*time.Hour, 5*time.Hour), doubtful},
		},
		{
			ID: "bench-3", Contact: neighbours.Offline, HeardAt: at(now.Add(-12 * time.Minute)),
			Presses: []neighbours.Press{{ID: "press-1", Meaning: light.Unknown, Flashing: true, Reason: "its bench is offline", Batch: "0612-3", Was: light.InOrder, AsOf: at(now.Add(-12 * time.Minute))}},
			Batches: []neighbours.Batch{old},
		},
		{ID: "bench-4", Contact: neighbours.Waiting, Presses: []neighbours.Press{}, Batches: []neighbours.Batch{}},
	}
}

func TestOtherBenches(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	rows["neighbours"] = hall(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.expect("503")
	b.openAt(f, "/presses")
	b.sees("#board", "This bench")
	b.sees("#board", "0612-1")
	for _, text := range []string{
		"bench-2", "0612-6 · dial-satin", "Good to print", "Ends soon", "Uncertain: part of its life",
		"bench-3", "Offline, last heard 12 min ago", "its bench is offline; it was good to print 12 min ago", "Time left not known: last heard of 12 min ago",
		"bench-4", "Nothing has been heard of it yet",
	} {
		b.sees("#others", text)
	}
	if first := eval[bool](b, `document.querySelector("#board").compareDocumentPosition(document.querySelector("#others")) === Node.DOCUMENT_POSITION_FOLLOWING`); !first {
		t.Error("the own bench is not the first")
	}
	if bars := eval[int](b, `[...document.querySelectorAll('[aria-label="bench-3"] .life-track')].filter((e) => !e.hidden).length`); bars != 0 {
		t.Errorf("what is left of an old batch is drawn: %d bars", bars)
	}
	if pressable := eval[int](b, `document.querySelectorAll("#others button").length`); pressable != 0 {
		t.Errorf("%d buttons at presses of other benches", pressable)
	}
	b.looks("presses-others", wall, wide, tall, phone, zoom)

	// It comes back, over the stream.
	back := hall(now)[1]
	back.Contact = neighbours.Online
	back.Presses[0] = neighbours.Press{ID: "press-1", Meaning: light.DoNotPrint, Reason: "too likely to have gone off", Batch: "0612-3"}
	f.send("neighbour", back)
	b.sees(`[aria-label="bench-3"]`, "Do not print")
	if words := eval[string](b, `document.querySelector('[aria-label="bench-3"] .bench-contact').textContent`); words != "" {
		t.Errorf("a bench that is heard says %q", words)
	}

	// And the page loses its own bench: nothing is known of any.
	f.cut()
	b.sees("#contact", "Contact lost, trying again")
	b.skip(31 * time.Second)
	b.sees("#others", "no contact with the bench")
	if shown := eval[bool](b, `document.querySelector("#others").innerText.includes("Good to print")`); shown {
		t.Error("without contact a press of another bench looks in order")
	}
}

func TestNoOtherBench(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.sees("#board", "0612-1")
	if text := eval[string](b, `document.querySelector("main").innerText`); len(text) == 0 || eval[bool](b, `!document.querySelector("#others").hidden || document.querySelector("main").innerText.includes("This bench")`) {
		t.Errorf("a bench on its own is shown with others: %s", text)
	}
}
