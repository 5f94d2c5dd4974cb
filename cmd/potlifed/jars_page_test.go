package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/view"
)

// leapingClock is the system's clock as on a computer that sleeps when a test says so.
type leapingClock struct {
	*clock.System
	slept atomic.Int64
}

func (c *leapingClock) Now() clock.Instant {
	now, slept := c.System.Now(), time.Duration(c.slept.Load())
	now.Wall, now.Mono = now.Wall.Add(slept), now.Mono+slept
	return now
}

// sleepUntil leaps to a moment that lies ahead.
func (c *leapingClock) sleepUntil(at time.Time) { c.slept.Add(int64(at.Sub(c.Now().Wall))) }

// gets reads a part of the API.
func (m *mixer) gets(path string, v any) {
	m.t.Helper()
	r, err := http.Get(m.url + "/api/v1/" + path)
	if err != nil {
		m.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err == nil {
		err = json.Unmarshal(text, v)
	}
	if err != nil {
		m.t.Fatalf("%s: %v: %s", path, err, text)
	}
}

// A person plans a test in jars, starts it on the page, looks at each jar when the page says so, and ends it: what is
// learned of the ink has what was gained, and had nothing of it before the end.
func TestATestInJarsOfAWorkingDay(t *testing.T) {
	t.Parallel()
	code, out, errs := command(t, "jars", "--shortest=4h30m", "--longest=5h30m")
	if code != 0 || !strings.Contains(out, "activation energy ± ") {
		t.Fatalf("the plan: exit %d: %s%s", code, out, errs)
	}
	system, err := clock.NewSystem(true)
	if err != nil {
		t.Fatal(err)
	}
	c := &leapingClock{System: system}
	m := newMixerAt(t, quickScale, c)
	var learned struct {
		Jars       int
		Activation struct {
			Value float64
			SE    *float64
		} `json:"activation_kj_mol"`
	}
	m.opens("/devices")
	m.taps("Test in jars… (dial-satin)")
	m.sees("Test dial-satin in jars", "Lids on loosely")
	m.enters("Where it is cool", "20")
	m.enters("Where it is warm", "35")
	m.chooses("Dry salt", "Magnesium chloride")
	m.chooses("Humid salt", "Table salt")
	m.enters("At the bench", "20")
	m.enters("Humidity there", "50")
	m.enters("Hardener went in", "0")
	m.taps("Start the test")
	m.sees("A test in jars is running", "Jar 5: open at the bench")
	var inks struct{ Inks []view.Ink }
	m.gets("inks", &inks)
	i := slices.IndexFunc(inks.Inks, func(i view.Ink) bool { return i.ID == "dial-satin" })
	if i < 0 || inks.Inks[i].JarTest == nil || len(inks.Inks[i].JarTest.Jars) != 5 {
		t.Fatalf("%+v", inks)
	}
	test := *inks.Inks[i].JarTest
	plan := slices.SortedFunc(slices.Values(test.Jars), func(a, b view.Jar) int { return cmp.Or(a.Expected.Compare(b.Expected), a.Jar-b.Jar) })
	sleepUntil := func(at time.Time) {
		c.sleepUntil(at)
		// The page asks about a jar that goes off early, by its own time, which it hears each second.
		m.waits("the page does not know the time", fmt.Sprintf(`(([, h, m]) => (h * 60 + +m - %d + 1440) %% 1440 < 60)(/time is (\d+):(\d+)/.exec(document.body.innerText) ?? [])`,
			at.Local().Hour()*60+at.Local().Minute()))
	}
	for k, jar := range plan {
		name := "Jar " + strconv.Itoa(jar.Jar)
		sleepUntil(jar.Expected.Add(-5 * time.Minute))
		m.taps("Still good (" + name + ")")
		m.waits("no look to take back at "+name, reading+".button("+quoted("Take the last look back ("+name+")")+") !== undefined")
		if k == len(plan)-1 { // it is still good when everybody goes home
			break
		}
		sleepUntil(jar.Expected.Add(5 * time.Minute))
		m.taps("Gone off (" + name + ")")
		m.waits(name+" not gone off", reading+".button("+quoted("Gone off ("+name+")")+") === undefined")
	}
	if m.gets("inks/dial-satin/learning", &learned); learned.Jars != 0 {
		t.Errorf("a test that is not over counts with %d jars", learned.Jars)
	}
	m.taps("End the test… (dial-satin)")
	m.taps("End it")
	m.sees("The test of dial-satin is over.")
	m.gets("inks/dial-satin/learning", &learned)
	if se := learned.Activation.SE; learned.Jars != 5 || se == nil || !(*se < 0.6*test.Before.ActivationKJPerMol) || learned.Activation.Value < 45 || learned.Activation.Value > 55 {
		t.Errorf("learned %+v, standard error %v, want less than 0.6 of %v", learned, se, test.Before.ActivationKJPerMol)
	}
	m.taps("Learned from your batches… (dial-satin)")
	m.sees("5 jars", "activation energy")
}
