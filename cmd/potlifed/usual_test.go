package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"potlifed/devices/simulate"
	"potlifed/model/air"
)

// usualSamples are all taken in one go, each in a zone of its own.
const usualSamples = 8

// usualRooms adds zones to a configuration and returns their rooms, by zone.
func usualRooms(b *testing.B, h *hardware, file string) map[string]*simulate.Room {
	b.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		b.Fatal(err)
	}
	rooms, lines := map[string]*simulate.Room{}, ""
	for i := range usualSamples {
		zone := fmt.Sprintf("usual-%d", i+1)
		if rooms[zone], err = simulate.NewRoom(filepath.Join(h.dir, zone), air.State{TemperatureC: 20, HumidityPct: 50}); err != nil {
			b.Fatal(err)
		}
		lines += fmt.Sprintf("  - {id: %s-air, zone: %s, path: %s, every: 500ms, stale_after: 10s}\n", zone, zone, rooms[zone].Path())
	}
	const after = "presses:\n"
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), after, lines+after, 1)), 0o600); err != nil {
		b.Fatal(err)
	}
	return rooms
}

// usualWay measures what one would build of common parts: Prometheus scrapes the program,
// evaluates a rule on the humidity, Alertmanager groups the alerts and calls a receiver.
// All intervals are those parts' defaults: a scrape a minute, an evaluation a minute, and
// a group waits 30 s. Each sample is from a jump of the humidity, written to a sensor's
// files at random within a minute, to the call that names its zone. Without those programs
// nothing is measured.
func usualWay(b *testing.B, p *program, rooms map[string]*simulate.Room) []time.Duration {
	b.Helper()
	prometheus, err := exec.LookPath("prometheus")
	alertmanager, missing := exec.LookPath("alertmanager")
	if missing != nil {
		alertmanager, missing = exec.LookPath("prometheus-alertmanager")
	}
	if err != nil || missing != nil {
		b.Logf("the usual way is not measured: %v, %v", err, missing)
		return nil
	}
	called := make(chan usualCall, 10*usualSamples)
	receiver := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		now := time.Now()
		var v struct {
			Alerts []struct{ Labels struct{ Zone string } }
		}
		if json.NewDecoder(r.Body).Decode(&v) == nil {
			for _, a := range v.Alerts {
				called <- usualCall{a.Labels.Zone, now}
			}
		}
	}))
	defer receiver.Close()
	dir := b.TempDir()
	manager, database := fmt.Sprintf("127.0.0.1:%d", freePort(b)), fmt.Sprintf("127.0.0.1:%d", freePort(b))
	for name, text := range map[string]string{
		"alertmanager.yml": "route: {receiver: lamp, group_by: [zone]}\nreceivers:\n- name: lamp\n  webhook_configs: [{url: \"" + receiver.URL + "\"}]\n",
		"rules.yml":        "groups:\n- name: air\n  rules:\n  - alert: AirHumid\n    expr: potlife_air_relative_humidity_ratio{zone=~\"usual-.*\"} > 0.85\n",
		"prometheus.yml": "rule_files: [rules.yml]\nalerting:\n  alertmanagers:\n  - static_configs: [{targets: [\"" + manager + "\"]}]\n" +
			"scrape_configs:\n- job_name: potlifed\n  static_configs: [{targets: [\"" + strings.TrimPrefix(p.http, "http://") + "\"]}]\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	runs(b, alertmanager, "--config.file="+filepath.Join(dir, "alertmanager.yml"), "--storage.path="+filepath.Join(dir, "alerts"),
		"--web.listen-address="+manager, "--cluster.listen-address=")
	runs(b, prometheus, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+database)
	eventually(b, "Prometheus and Alertmanager to be ready", func() (bool, any) {
		for _, address := range []string{manager, database} {
			r, err := http.Get("http://" + address + "/-/ready")
			if err != nil {
				return false, err
			}
			_ = r.Body.Close()
			if r.StatusCode != http.StatusOK {
				return false, r.Status
			}
		}
		return true, nil
	})
	return usualTimes(b, rooms, called)
}

type usualCall struct {
	zone string
	at   time.Time
}

// usualTimes makes each room humid at a moment of its own and waits for the calls.
func usualTimes(b *testing.B, rooms map[string]*simulate.Room, called <-chan usualCall) (all []time.Duration) {
	time.Sleep(time.Minute) // the first scrapes and evaluations are over
	var jumps sync.WaitGroup
	var mu sync.Mutex
	began := map[string]time.Time{}
	for zone, room := range rooms {
		jumps.Go(func() {
			time.Sleep(rand.N(time.Minute)) // at any moment between two scrapes and two evaluations
			mu.Lock()
			began[zone] = time.Now()
			mu.Unlock()
			if err := room.Set(air.State{TemperatureC: 20, HumidityPct: 90}); err != nil {
				b.Error(err)
			}
		})
	}
	jumps.Wait()
	seen := map[string]bool{}
	late := time.After(5 * time.Minute)
	for len(seen) < len(rooms) {
		select {
		case c := <-called:
			if from, ok := began[c.zone]; ok && !seen[c.zone] {
				seen[c.zone] = true
				all = append(all, c.at.Sub(from))
				b.Logf("the usual way, %s: %v", c.zone, c.at.Sub(from).Round(time.Millisecond))
			}
		case <-late:
			b.Fatalf("%d of %d alerts came", len(seen), len(rooms))
		}
	}
	return all
}

// runs starts a program of another project until the benchmark ends.
func runs(b *testing.B, program string, args ...string) {
	b.Helper()
	var log bytes.Buffer
	cmd := exec.Command(program, args...)
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		timer := time.AfterFunc(10*time.Second, func() { _ = cmd.Process.Kill() })
		_ = cmd.Wait()
		timer.Stop()
		if b.Failed() {
			b.Logf("%s said:\n%s", program, &log)
		}
	})
}
