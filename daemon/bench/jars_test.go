package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/outcomes"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

func fourJars() []request.JarPlace {
	return []request.JarPlace{
		{TemperatureC: 20, Salt: "magnesium-chloride"}, {TemperatureC: 20, Salt: "sodium-chloride"},
		{TemperatureC: 35, Salt: "magnesium-chloride"}, {TemperatureC: 35, HumidityPct: new(75.0), Open: true},
	}
}

// A test in jars is planned, looked at and ended; it survives a restart, and the fit of the ink takes it up once it is over.
func TestATestInJars(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	refused := func(c request.Change, kind request.RefusalKind) {
		t.Helper()
		if _, refusal := s.ask(c); refusal == nil || refusal.Kind != kind {
			t.Errorf("%+v: %+v, want %s", c, refusal, kind)
		}
	}
	row := func() view.Ink { return s.b.Snapshot().Inks[0] }
	at := func(age time.Duration) *time.Time { return new(row().JarTest.MixedAt.Add(age)) }
	refused(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "good"}, request.NotNow)
	refused(request.EndJars{Ink: "dial-satin"}, request.NotNow)
	refused(request.StartJars{Ink: "gold", Jars: fourJars()}, request.NotFound)
	refused(request.StartJars{Ink: "dial-satin", Jars: fourJars()[:1]}, request.Invalid)
	refused(request.StartJars{Ink: "dial-satin", Jars: []request.JarPlace{{TemperatureC: 20}, {TemperatureC: 35, Salt: "sodium-chloride"}}}, request.Invalid)
	refused(request.StartJars{Ink: "dial-satin", Jars: []request.JarPlace{{TemperatureC: 50, Salt: "sodium-chloride"}, {TemperatureC: 35, Salt: "sodium-chloride"}}}, request.Invalid)
	mixed := s.b.clock.now().Add(-10 * time.Hour)
	refused(request.StartJars{Ink: "dial-satin", Jars: fourJars(), MixedAt: new(mixed.Add(-24 * time.Hour))}, request.Invalid)
	refused(request.StartJars{Ink: "dial-satin", Jars: fourJars(), MixedAt: new(mixed.Add(24 * time.Hour))}, request.Invalid)

	s.tell(request.StartJars{Ink: "dial-satin", Jars: fourJars(), MixedAt: &mixed})
	refused(request.StartJars{Ink: "dial-satin", Jars: fourJars()}, request.NotNow)
	test := row().JarTest
	if test == nil || len(test.Jars) != 4 || !(test.After.ActivationKJPerMol < 0.5*test.Before.ActivationKJPerMol) ||
		!test.Jars[0].LookFrom.Before(test.Jars[0].Expected) || !test.Jars[0].Expected.Before(test.Jars[0].Until) || math.Abs(test.Jars[0].HumidityPct-33.07) > 0.05 {
		t.Fatalf("%+v", test)
	}
	refused(request.EndJars{Ink: "dial-satin"}, request.NotNow) // nobody has looked
	refused(request.LookAtJar{Ink: "dial-satin", Jar: 5, Seen: "good"}, request.NotFound)
	refused(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "mistake"}, request.NotNow)
	refused(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "good", At: at(-time.Minute)}, request.Invalid)
	refused(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "good", At: at(11 * time.Hour)}, request.Invalid)

	for i, jar := range test.Jars {
		age := jar.Expected.Sub(test.MixedAt)
		s.tell(request.LookAtJar{Ink: "dial-satin", Jar: jar.Jar, Seen: "good", At: at(age - 5*time.Minute)})
		if i == 0 { // a slip, taken back
			s.tell(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "gone-off", At: at(age)})
			refused(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "good", At: at(age + time.Minute)}, request.NotNow)
			s.tell(request.LookAtJar{Ink: "dial-satin", Jar: 1, Seen: "mistake"})
			continue // it was still good when everybody went home
		}
		s.tell(request.LookAtJar{Ink: "dial-satin", Jar: jar.Jar, Seen: "gone-off", At: at(age + 5*time.Minute)})
		refused(request.LookAtJar{Ink: "dial-satin", Jar: jar.Jar, Seen: "gone-off", At: at(age - 6*time.Minute)}, request.NotNow)
	}
	s.crash()

	s = openShop(t, dir, c)
	defer s.crash()
	jars := row().JarTest.Jars
	if jars[0].GoneOff != nil || jars[0].LastGood == nil || jars[1].GoneOff == nil {
		t.Errorf("after a restart: %+v", jars)
	}
	sheet := s.b.shop.Inks[0]
	learned := func() outcomes.Learned {
		t.Helper()
		past, err := outcomes.Read(s.ctx, s.journal)
		if err != nil {
			t.Fatal(err)
		}
		told, _ := outcomes.Sort(past, []outcomes.Ink{{ID: "dial-satin", Sheet: sheet.Life}})
		return outcomes.Learn(told)[0]
	}
	if l := learned(); l.Jars != 0 {
		t.Errorf("a test that is not over counts: %+v", l.Result)
	}
	s.tell(request.EndJars{Ink: "dial-satin"})
	if l := learned(); l.Jars != 4 || !(*l.ActivationKJPerMol.SE < 0.6*sheet.Life.ActivationSpread) || math.Abs(l.ActivationKJPerMol.Value-sheet.Life.ActivationKJPerMol) > 3 {
		t.Errorf("%d jars, activation energy %v ± %v", l.Jars, l.ActivationKJPerMol.Value, *l.ActivationKJPerMol.SE)
	}
	if row().JarTest != nil {
		t.Error("the test still runs")
	}
	s.tell(request.StartJars{Ink: "dial-satin", Jars: fourJars()})
	s.tell(request.EndJars{Ink: "dial-satin", Discard: true})
	if l := learned(); l.Jars != 4 {
		t.Errorf("a test that was discarded counts: %d jars", l.Jars)
	}
}
