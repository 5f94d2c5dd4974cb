package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/daemon/peers"
	"potlifed/daemon/view"
	"potlifed/devices/simulate"
)

// drives are the drives of two presses: one whose torque is published at a broker, and one on a serial line.
type drives struct {
	mu     sync.Mutex // guards the clock, which the test makes faster
	clock  *fileClock
	began  time.Duration
	serial *simulate.Drive
}

// torque is that of ink which doubles it in three hours, from 20 mNm.
func (d *drives) torque() float64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return 20 * math.Exp2((d.clock.now().Mono-d.began).Hours()/3)
}

// newDrives returns both, which turn until the test ends.
func newDrives(t *testing.T, c *fileClock, m *mosquitto, dir string) *drives {
	t.Helper()
	d := &drives{clock: c, began: c.now().Mono}
	var err error
	if d.serial, err = simulate.NewDrive(simulate.DriveOptions{Dir: dir, Every: 20 * time.Millisecond, Noise: 0.002}); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- d.serial.Run(t.Context()) }()
	t.Cleanup(func() {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	m.publishes("machines/press-1", func(k int) string {
		torque := d.torque()
		d.serial.Set(torque)
		return fmt.Sprintf(`{"torque_mnm": %.3f}`, torque*(1+0.002*float64(k%3-1)))
	})
	return d
}

// publishes sends messages with mosquitto's own client, fifty a second until the test ends; message gets their number.
func (m *mosquitto) publishes(topic string, message func(k int) string) {
	m.t.Helper()
	publisher := exec.Command(peers.Program(m.t, "mosquitto_pub"), "-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-t", topic, "-l")
	lines, err := publisher.StdinPipe()
	if err != nil {
		m.t.Fatal(err)
	}
	if err := publisher.Start(); err != nil {
		m.t.Fatal(err)
	}
	var sending sync.WaitGroup
	sending.Go(func() {
		ticker := time.NewTicker(20 * time.Millisecond)
		defer ticker.Stop()
		for k := 0; ; k++ {
			select {
			case <-m.t.Context().Done():
				return
			case <-ticker.C:
			}
			if _, err := fmt.Fprintln(lines, message(k)); err != nil {
				return // the broker has ended
			}
		}
	})
	m.t.Cleanup(func() {
		sending.Wait()
		lines.Close()
		_ = publisher.Wait()
	})
}

// trendShop is a mix on three presses: the instrument of the first publishes at a broker, that of the second sends
// lines, and the third has none. The program runs a thousand times as fast once the mix is made.
func trendShop(t *testing.T) (p *program, d *drives, parts [3]string) {
	t.Helper()
	m, h := newMosquitto(t), newHardware(t)
	c := newFileClock(t, 1)
	d = newDrives(t, c, m, h.dir)
	file := h.configuration(t, m.configuration()+fmt.Sprintf(`trends:
  - {id: stirrer-1, observes: {batch-of: press-1}, topic: machines/press-1, pointer: /torque_mnm, stale_after: 1h}
  - {id: stirrer-2, observes: {batch-of: press-2}, source: line, port: %s, line: %q, stale_after: 1h}
`, d.serial.Port(), simulate.DriveLine))
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	three := strings.NewReplacer("stale_after: 10s", "stale_after: 1h", "  - {id: press-1, zone: bench, cup: cup-110}\n",
		"  - {id: press-1, zone: bench, cup: cup-110}\n  - {id: press-2, zone: bench, cup: cup-110}\n  - {id: press-3, zone: bench, cup: cup-110}\n")
	if err := os.WriteFile(file, []byte(three.Replace(string(text))), 0o600); err != nil {
		t.Fatal(err)
	}
	p = startByClock(t, c, file)
	parts[0] = h.mix(t, p)
	for k, press := range []string{"press-2", "press-3"} {
		part, wrong := p.post("batches/"+parts[0]+"/split", map[string]any{"grams": 30, "to": map[string]string{"press": press}})
		if wrong != nil {
			t.Fatal(wrong)
		}
		parts[k+1] = part.ID
	}
	if _, wrong := p.post("batches/"+parts[0]+"/load", map[string]string{"press": "press-1"}); wrong != nil {
		t.Fatal(wrong)
	}
	p.stop()
	d.mu.Lock()
	c.change(func(is *clockFile) { is.Speed = 1000 })
	d.mu.Unlock()
	return startByClock(t, c, file), d, parts
}

// TestATorqueNarrowsTheBand: the ink thickens faster than that of a median batch, and the instruments were never
// learned, so that they can only shorten a pot life. Of three parts of one mix, the one whose torque is published
// has a narrower band than the one without an instrument. An instrument on a serial line that sticks is named, and its part ends no later than
// without it by more than 2 % of its life, and has a wider band than the one whose instrument goes on.
func TestATorqueNarrowsTheBand(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, with a broker and drives")
	}
	t.Parallel()
	p, d, parts := trendShop(t)
	samples := func(batch string) (n int) {
		var history struct {
			Trend struct{ Samples []struct{} }
		}
		p.get("/api/v1/batches/"+batch+"/history", &history)
		return len(history.Trend.Samples)
	}
	p.eventually("two samples of the serial instrument", func() (bool, any) { n := samples(parts[1]); return n >= 2, n })
	d.serial.Stick()
	trend := func(id string) (is view.TrendInstrument) {
		var known struct{ Trends []view.TrendInstrument }
		p.get("/api/v1/trends", &known)
		for _, is := range known.Trends {
			if is.ID == id {
				return is
			}
		}
		t.Fatalf("no trend %s in %+v", id, known)
		return is
	}
	p.eventually("that the stuck one is named", func() (bool, any) { is := trend("stirrer-2"); return is.Doubted != "", is })
	p.eventually("an alarm", func() (bool, any) {
		var alarms struct{ Alarms []view.Alarm }
		p.get("/api/v1/alarms", &alarms)
		for _, a := range alarms.Alarms {
			if a.Name == "trend-doubted" && a.Subject == "stirrer-2" {
				return true, nil
			}
		}
		return false, alarms
	})
	p.eventually("six samples of the published one", func() (bool, any) { n := samples(parts[0]); return n >= 6, n })
	if is := trend("stirrer-1"); is.Doubted != "" || is.Condition != "up" || is.Batch != parts[0] {
		t.Errorf("the instrument that goes on is %+v", is)
	}
	if metrics := p.text("/metrics"); sample(t, metrics, `potlife_trend_doubted{bench="bench-1",press="press-2",trend="stirrer-2"}`) != 1 ||
		sample(t, metrics, `potlife_trend_up{bench="bench-1",press="press-1",trend="stirrer-1"}`) != 1 {
		t.Error("the metrics do not say so")
	}
	var all struct{ Batches []view.Batch }
	p.get("/api/v1/batches", &all)
	ends := map[string]view.Span[time.Time]{}
	for _, b := range all.Batches {
		ends[b.ID] = *b.EndsAt
	}
	width := func(part int) time.Duration { return ends[parts[part]].High.Sub(ends[parts[part]].Low) }
	t.Logf("followed %v, stuck %v, without %v", width(0), width(1), width(2))
	if w := width(0).Hours() / width(2).Hours(); w > 0.95 {
		t.Errorf("the band has %.2f of the width without an instrument", w)
	}
	if width(1) <= width(0) {
		t.Errorf("with an instrument that has stuck the band is %v wide, with one that goes on %v", width(1), width(0))
	}
	life := ends[parts[2]].Expected.Sub(*p.batch(parts[2]).MixedAt)
	for name, later := range map[string]time.Duration{
		"low":      ends[parts[1]].Low.Sub(ends[parts[2]].Low),
		"expected": ends[parts[1]].Expected.Sub(ends[parts[2]].Expected),
		"high":     ends[parts[1]].High.Sub(ends[parts[2]].High),
	} {
		if later.Hours() > 0.02*life.Hours() {
			t.Errorf("with a stuck instrument %s is later by %v of %v", name, later, life)
		}
	}
}
