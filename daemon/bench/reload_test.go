package bench

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/health"
)

// changed is the configuration of the tests with texts replaced, each before what takes its place.
func changed(t testing.TB, replaced ...string) reconfigure {
	t.Helper()
	shop, err := config.Parse("shop.yaml", []byte(strings.NewReplacer(replaced...).Replace(testShop)))
	if err != nil {
		t.Fatal(err)
	}
	return reconfigure{shop}
}

const hallSensor = "  - {id: hall-air, zone: hall, path: /nowhere/else, every: 5s}\n"

// TestReloadsWhileAMixIsPoured: with 1,000 reloads between the lines of the scale, half of them
// refused, the mix comes to exactly what it comes to without them.
func TestReloadsWhileAMixIsPoured(t *testing.T) {
	mixed := func(reloads int) (batch record.Batch, events map[string]int) {
		s := openShop(t, t.TempDir(), newClock())
		s.pass(10*time.Second, both(mild))
		good := []reconfigure{
			changed(t, "5s}\n  - {id: hall-air", "5s}\n  - {id: third-air, zone: hall, path: /nowhere/third}\n  - {id: hall-air", "{about: 8h}", "{about: 7h}"),
			changed(t, `port: "tcp://127.0.0.1:1"`, `port: "tcp://127.0.0.1:2"`, "ink_minimum_g: 60", "ink_minimum_g: 50"),
			changed(t),
		}
		wrong := []reconfigure{changed(t, "bench: bench-1", "bench: bench-2"), changed(t, "dial-satin", "dial-other"), changed(t, "division_g: 0.1", "division_g: 0.2")}
		s.reload = func() {
			for range 2 {
				if reloads == 0 {
					return
				}
				reloads--
				c, want := good[reloads/2%len(good)], ""
				if reloads%2 == 0 {
					c, want = wrong[reloads/2%len(wrong)], "nothing was changed"
				}
				_, refusal := s.ask(c)
				if want == "" && refusal != nil || want != "" && (refusal == nil || !strings.Contains(refusal.Detail, want)) {
					t.Fatalf("reload: %v, want %q", refusal, want)
				}
			}
		}
		before := s.b.state.Seq
		id := s.must(request.StartMix{Scale: "scale-1", Ink: "dial-satin", Press: "press-1"}).ID
		s.reloading = true
		s.weighs(12, time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "cup"})
		s.pours(12, 72, 20*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "ink"})
		s.pours(72, 87, 20*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
		s.weighs(87, 10*time.Second)
		if reloads > 0 {
			t.Fatalf("%d reloads are left", reloads)
		}
		b, _ := s.b.state.Find(id)
		all, err := s.journal.Events(t.Context(), before, 10000)
		if err != nil {
			t.Fatal(err)
		}
		kinds := map[string]int{}
		for _, e := range all {
			if !strings.HasPrefix(e.Kind, "alarm-") { // the sensor that comes and goes never reads
				kinds[e.Kind]++
			}
		}
		return *b, kinds
	}
	reloads := 100
	if os.Getenv("POTLIFED_LONG") != "" {
		reloads = 1000
	} else {
		t.Log("100 reloads instead of 1000; set POTLIFED_LONG=1 for all")
	}
	want, quiet := mixed(0)
	got, events := mixed(reloads)
	numbers := cmp.FilterPath(func(p cmp.Path) bool { return p.Last().String() == ".Seq" }, cmp.Ignore()) // of events
	if diff := cmp.Diff(want.Mix, got.Mix, cmp.AllowUnexported(want.Mix), numbers); diff != "" || got.MixedAt != want.MixedAt || got.MixedAt.IsZero() || got.ID != want.ID || got.Basis.Life != want.Basis.Life {
		t.Errorf("with reloads the mix is another one (mixed at %v, %v):\n%s", want.MixedAt, got.MixedAt, diff)
	}
	// Each good configuration differs from the one before.
	if n := events[string(record.KindConfigurationRead)]; n != reloads/2 {
		t.Errorf("%d events of %d good reloads", n, reloads/2)
	}
	delete(events, string(record.KindConfigurationRead))
	if diff := cmp.Diff(quiet, events); diff != "" {
		t.Errorf("other events:\n%s", diff)
	}
}

// What changes takes effect, is told, and is an event; what is the same keeps its readings.
func TestReload(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	_, refusal := s.ask(changed(t, hallSensor, hallSensor+"  - {id: west-air, zone: west, path: /nowhere/west}\n", "pot_life: {about: 8h}", "pot_life: {about: 7h}"))
	if refusal != nil {
		t.Fatal(refusal)
	}
	last := s.b.state.Seq
	if s.b.sensors["bench-air"].last.IsZero() || s.b.sensors["west-air"] == nil || s.b.zones["west"] == nil || s.b.zones["bench"].source == nil {
		t.Errorf("sensors %+v, zones %+v", s.b.sensors, s.b.zones)
	}
	if k, _ := s.b.offered.Load().inkNamed("dial-flat"); k.Sheet.About != 7*time.Hour {
		t.Errorf("sheet %+v", k.Sheet)
	}
	s.enter(airReading{sensor: "west-air", air: air.State{TemperatureC: 19, HumidityPct: 55}, at: s.clock.is.Mono})
	s.pass(time.Second, both(mild))
	found := false
	for _, a := range s.b.Snapshot().Air {
		found = found || a.Zone == "west" && a.Measured != nil && a.Measured.TemperatureC == 19
	}
	if !found {
		t.Errorf("no air of the new zone: %+v", s.b.Snapshot().Air)
	}
	// The same once more changes nothing and is no event.
	if _, refusal := s.ask(changed(t, hallSensor, hallSensor+"  - {id: west-air, zone: west, path: /nowhere/west}\n", "pot_life: {about: 8h}", "pot_life: {about: 7h}")); refusal != nil || s.b.state.Seq != last {
		t.Errorf("the same again: %v, event %d after %d", refusal, s.b.state.Seq, last)
	}
	// A sensor that is gone is forgotten; its readings that are on their way change nothing.
	if _, refusal := s.ask(changed(t)); refusal != nil {
		t.Fatal(refusal)
	}
	s.enter(airReading{sensor: "west-air", air: air.State{TemperatureC: 25, HumidityPct: 55}, at: s.clock.is.Mono})
	s.pass(5*time.Second, both(mild))
	for _, d := range s.b.Snapshot().Sensors {
		if d.ID == "west-air" || d.ID == "bench-air" && d.Condition != health.Up {
			t.Errorf("device %+v", d)
		}
	}
}

// A configuration without something that an open batch uses is refused, and so is one that needs a
// restart; nothing of it takes effect.
func TestReloadIsRefusedAsAWhole(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(10*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-2"})
	before := s.b.state.Seq
	for name, c := range map[string]struct {
		shop   reconfigure
		saying string
	}{
		"its ink":      {changed(t, "dial-satin", "dial-other"), "ink dial-satin"},
		"its cup":      {changed(t, "cup-90", "cup-70"), "cup cup-90"},
		"its press":    {changed(t, "press-2", "press-3", "{id: light-1", "{id: light-1"), "lights"},
		"another name": {changed(t, "bench: bench-1", "bench: bench-2", "{about: 8h}", "{about: 7h}"), "bench cannot change"},
		"data_dir":     {changed(t, "data_dir: /nowhere", "data_dir: /elsewhere"), "data_dir cannot change"},
		"the address":  {changed(t, "data_dir: /nowhere", "data_dir: /nowhere\nhttp: {listen: \"127.0.0.1:1\"}"), "http cannot change"},
	} {
		_, refusal := s.ask(c.shop)
		if refusal == nil || !strings.Contains(refusal.Detail, c.saying) || !strings.Contains(refusal.Detail, "nothing was changed") {
			t.Errorf("%s: %v; want %q", name, refusal, c.saying)
		}
	}
	if k, _ := s.b.shop.inkNamed("dial-flat"); s.b.state.Seq != before || k.ID == "" || s.b.shop.Bench != "bench-1" {
		t.Errorf("something changed: event %d after %d", s.b.state.Seq, before)
	}
}
