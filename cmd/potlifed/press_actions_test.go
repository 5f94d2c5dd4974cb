package main

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/rehearsal"
)

// records takes in a mix made by hand some minutes ago, of 85 g of ink, with thinner; its id
// is what the page says first of it.
func (m *mixer) records(ink string, minutes, thinner int) {
	m.t.Helper()
	ask := func(button string) string { return fmt.Sprintf("%s.button(%s) !== undefined", reading, quoted(button)) }
	m.waits("a form for the next mix", ask("Record one mixed by hand…")+" || "+ask("Start another mix…"))
	if !evaluate[bool](m, ask("Record one mixed by hand…")) { // a mix waits for its press
		m.taps("Start another mix…")
	}
	m.taps("Record one mixed by hand…")
	m.sees("Its life counts from when the hardener went in")
	m.chooses("Ink", ink)
	m.enters("Hardener went in", strconv.Itoa(minutes))
	m.enters("Ink g", "85")
	m.enters("Hardener g", map[string]string{"dial-satin": "17", "dial-flat": "10.6"}[ink])
	m.enters("Thinner g", strconv.Itoa(thinner))
	m.taps("Record it")
	m.misses("Record a mix made by hand")
}

// another is what the bench's page shows of a batch that it lists: it waits for the id.
func (m *mixer) another(what string) (id string) {
	m.t.Helper()
	return m.reads(`(\d{4}-\d+[a-z]?) ` + what)
}

// minutesLeft reads for how long a batch is safe, said to be at a place.
func (m *mixer) minutesLeft(id, place string) float64 {
	m.t.Helper()
	at := fmt.Sprintf(`%s dial-satin %s (?:assumed )?safe to (?:[A-Z]\S+ )?\d\d:\d\d `, id, place)
	h, err := strconv.ParseFloat(m.reads(at+`(\d+) h \d\d min from now`), 64)
	if err != nil {
		m.t.Fatal(err)
	}
	min, err := strconv.ParseFloat(m.reads(at+`\d+ h (\d\d) min from now`), 64)
	if err != nil {
		m.t.Fatal(err)
	}
	return 60*h + min
}

// pressActions are what is done with a batch after the mix, on the page of the bench and on
// the board of the presses; one or two taps each.
var pressActions = []struct {
	name string
	play func(m *mixer)
}{
	{"load, and move to a press in other air, which its life follows", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("Load… (" + id + ")")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.seesIn("Lights", "press-1 Good to print")
		dry := m.minutesLeft(id, "on press-1")

		m.taps("Move… (" + id + ")")
		m.sees("From now on it ages in the air of the place that you tap")
		m.chooses("Onto a press", "press-2")
		m.seesIn("Lights", "press-2 Good to print", "press-1 Empty")
		// The floor has 26 °C and 80 %: by hand, about 5/8 of the rest.
		humid := m.minutesLeft(id, "on press-2")
		if humid > 0.85*dry || humid < 0.45*dry {
			m.t.Errorf("%v min on the floor, %v min at the bench", humid, dry)
		}
	}},
	{"on the board: load, still good, unload", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.opens("/presses")
		m.taps("Load… (press-2)")
		m.sees("Which cup is on press-2?")
		m.chooses("Open batches without a press", id)
		m.misses("Which cup is on press-2?")
		m.sees("press-2 Good to print", id+" · dial-satin", "Next mix at")
		m.taps("Looked: still good (" + id + ")")
		m.seesIn("Undo", "Looked at "+id+": still good")
		m.taps("Cup taken off (" + id + ")")
		m.sees("press-2 Empty", "zone bench not on a press")
	}},
	{"onto a press that holds another cup, which comes off; and that is taken back", func(m *mixer) {
		m.records("dial-satin", 60, 8)
		old := m.another("dial-satin in zone bench")
		m.taps("Load… (" + old + ")")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.sees(old + " dial-satin on press-1")
		m.records("dial-satin", 1, 8)
		young := old[:len(old)-1] + "2"
		m.sees(young + " dial-satin in zone bench")
		m.taps("Move… (" + young + ")")
		m.sees("holds " + old + ", which comes off")
		m.chooses("Onto a press", "press-1")
		m.sees(old + " comes off press-1")
		m.chooses("What becomes of "+old+"?", "Keep it")
		m.sees(young+" dial-satin on press-1", old+" dial-satin in zone bench")
		m.taps("Undo: Put " + young + " on press-1")
		m.sees(old+" dial-satin on press-1", young+" dial-satin in zone bench")
	}},
	{"split over two presses", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("Load… (" + id + ")")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.sees(id + " dial-satin on press-1")
		m.taps("More… (" + id + ")")
		m.taps("Split it…")
		m.sees("is as old as the rest")
		m.enters("Poured off", "30")
		m.chooses("Where the part goes", "press-2")
		m.taps("Split it")
		m.sees(id+"b dial-satin on press-2", id+" dial-satin on press-1")
		m.seesIn("Lights", "press-1 Good to print", "press-2 Good to print")
	}},
	{"split into a loosely covered jar", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("More… (" + id + ")")
		m.taps("Split it…")
		m.enters("Poured off", "30")
		m.chooses("Where the part goes", "zone bench, loosely covered")
		m.taps("Split it")
		m.sees(id + "b dial-satin in zone bench")
		// Under a cover less moisture gets at it, so it lasts longer.
		if jar, cup := m.minutesLeft(id+"b", "in zone bench"), m.minutesLeft(id, "in zone bench"); jar <= cup {
			m.t.Errorf("the jar lasts %v min, the open cup %v min", jar, cup)
		}
	}},
	{"top up from a newer mix: the older one rules", func(m *mixer) {
		m.records("dial-satin", 120, 8)
		old := m.another("dial-satin in zone bench")
		before := m.minutesLeft(old, "in zone bench")
		m.records("dial-satin", 1, 8)
		young := old[:len(old)-1] + "2"
		m.sees(young + " dial-satin in zone bench")
		m.taps("More… (" + old + ")")
		m.taps("Top it up…")
		m.sees("The older one decides the life of the whole", "Ink without hardener is refused", "110.0 g mixed")
		m.chooses("Open batches of dial-satin", young)
		m.misses(young + " dial-satin in zone bench")
		if after := m.minutesLeft(old, "in zone bench"); after > before || after < before-5 {
			m.t.Errorf("topped up it lasts %v min, before it was %v min", after, before)
		}
	}},
	{"thin: it does not renew the pot life", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		before := m.minutesLeft(id, "in zone bench")
		m.taps("More… (" + id + ")")
		m.taps("Thin it…")
		m.sees("It does not renew the pot life", "Poured so far: 8.0 g, which is 7.8 % of ink and hardener; dial-satin takes up to 14 %")
		m.taps("2 pipettes, 4 g")
		m.sees("4.0 g is about 2 pipettes")
		m.taps("It is in and stirred")
		m.misses("It does not renew the pot life")
		if after := m.minutesLeft(id, "in zone bench"); after > before {
			m.t.Errorf("thinned it lasts %v min, before it was %v min", after, before)
		}
		m.taps("More… (" + id + ")")
		m.taps("Thin it…")
		m.sees("Poured so far: 12.0 g, which is 11.8 % of ink and hardener")
	}},
	{"close: was it still good?", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("Close… (" + id + ")")
		m.chooses("How did it end?", "Used up")
		m.chooses("Was it still good?", "Yes, I looked")
		m.chooses("How much is left?", "Enter it")
		m.enters("Left over", "12.5")
		m.taps("Close it")
		m.sees("No batch is open")
	}},
	{"thinned by mistake, and that is taken back", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("More… (" + id + ")")
		m.taps("Thin it…")
		m.taps("2 pipettes, 4 g")
		m.taps("It is in and stirred")
		m.taps("Undo: Added 4.0 g of thinner to " + id)
		m.sees("Undone: Added 4.0 g of thinner to " + id)
		m.taps("More… (" + id + ")")
		m.taps("Thin it…")
		m.sees("Poured so far: 8.0 g")
	}},
	{"close: what is left is weighed on the scale", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.scale.Set(44.5)
		m.settles(44.5)
		m.taps("Close… (" + id + ")")
		m.chooses("How did it end?", "Scrapped")
		m.enters("The empty cup-110 weighs", "24")
		m.sees("20.5 g left")
		m.taps("Close it")
		m.sees("No batch is open")
		m.opens("/cans")
		m.seesIn("Waste", "20.5 g")
	}},
	{"close: it went off", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("Load… (" + id + ")")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.seesIn("Lights", "press-1 Good to print")
		m.opens("/presses")
		m.taps("Close… (" + id + ")")
		m.chooses("How did it end?", "Gone off")
		m.sees("When did it go off?")
		m.seesNot("Was it still good?")
		m.chooses("When did it go off?", "Just now")
		m.taps("Close it")
		m.sees("press-1 Do not print")
		m.taps("Cup taken off (press-1)")
		m.sees("press-1 Empty")
	}},
	{"taken off by mistake, and that is taken back", func(m *mixer) {
		m.records("dial-satin", 0, 8)
		id := m.another("dial-satin in zone bench")
		m.taps("Load… (" + id + ")")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.sees(id + " dial-satin on press-1")
		m.taps("Cup taken off (" + id + ")")
		m.sees(id + " dial-satin in zone bench")
		m.taps("Undo: Took " + id + " off its press")
		m.sees("Undone: Took "+id+" off its press", id+" dial-satin on press-1")
	}},
	{"a rest before the press", func(m *mixer) {
		began := time.Now()
		m.records("dial-flat", 5, 8)
		m.sees("Let it rest", "its light stays red until the rest is over")
		// 15 min of rest, of which 5 were over, and what this machine took since.
		shown := m.reads(`(\d+:\d\d) min`)
		minutes, seconds, _ := strings.Cut(shown, ":")
		left, err := time.ParseDuration(minutes + "m" + seconds + "s")
		if took := time.Since(began); err != nil || left > 10*time.Minute+time.Second || left < 10*time.Minute-took-2*time.Second {
			m.t.Errorf("%v after the mix was recorded %s of its rest are left (%v)", took, shown, err)
		}
		m.taps("Onto a press…")
		m.chooses("Press", "press-1")
		m.taps("It is on this press")
		m.seesIn("Lights", "press-1 Do not print")
	}},
}

func TestPressActions(t *testing.T) {
	for _, c := range pressActions {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.play(newMixer(t, quickScale))
		})
	}
}

// A batch that was left open past its high bound says so, and asks to be closed.
func TestLeftOpenTooLong(t *testing.T) {
	t.Parallel()
	clock := rehearsal.NewPaced(240)
	m := newMixerAt(t, quickScale, clock)
	m.records("dial-satin", 10*60, 8)
	id := m.another("dial-satin in zone bench")
	m.seesIn("Open batches", id, "past its time")
	clock.SetSpeed(240)
	if err := clock.Wait(t.Context(), 20*time.Minute); err != nil {
		t.Fatal(err)
	}
	clock.SetSpeed(1)
	m.seesIn("Alarms", "Old batch still open")
}
