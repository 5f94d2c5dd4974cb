package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/model/air"
	"potlifed/model/learn"
)

// The kinds about tests of an ink in jars.
const (
	KindJarsStarted Kind = "jars-started"
	KindJarLooked   Kind = "jar-looked"
	KindJarsEnded   Kind = "jars-ended"
)

// JarsStarted records that one mix of an ink was shared among jars of different air.
type JarsStarted struct {
	Ink     string       `json:"ink" doc:"id of the ink"`
	MixedAt time.Time    `json:"mixed_at" doc:"first hardener"`
	Jars    []PlannedJar `json:"jars" doc:"the jars; the first is jar 1"`
	Before  JarSpreads   `json:"before" doc:"how surely the ink is known before the test"`
	After   JarSpreads   `json:"after" doc:"how surely it is expected to be known afterwards"`
}

// PlannedJar is a jar of a test.
type PlannedJar struct {
	TemperatureC float64 `json:"temperature_c" doc:"temperature where the jar stands in °C"`
	HumidityPct  float64 `json:"humidity_pct" doc:"relative humidity of the air in the jar in %"`
	Salt         string  `json:"salt,omitempty" doc:"salt whose saturated solution is in the jar; absent for none"`
	Open         bool    `json:"open,omitempty" doc:"the jar stands open, and is stirred as a cup in use"`
	LowH         float64 `json:"low_h" doc:"hours after the first hardener before which one jar in ten ends"`
	ExpectedH    float64 `json:"expected_h" doc:"hours after the first hardener at which the jar is expected to end"`
	HighH        float64 `json:"high_h" doc:"hours after the first hardener after which one jar in ten ends"`
}

// JarSpreads are standard deviations of what is known of an ink.
type JarSpreads struct {
	ActivationKJPerMol float64 `json:"activation_kj_mol" doc:"standard deviation of the activation energy in kJ/mol"`
	MoistureShare      float64 `json:"moisture_share" doc:"standard deviation of the share of the pot life that moisture determines"`
}

// JarSeen is what a person saw of a jar.
type JarSeen string

// What may be seen of a jar.
const (
	JarGood    JarSeen = "good"
	JarGoneOff JarSeen = "gone-off"
	JarMistake JarSeen = "mistake" // the newest look at this jar was a mistake and does not count
)

// JarLooked records that a person looked at a jar of the ink's test.
type JarLooked struct {
	Ink  string    `json:"ink" doc:"id of the ink"`
	Jar  int       `json:"jar" doc:"number of the jar, from 1"`
	Seen JarSeen   `json:"seen" enum:"good,gone-off,mistake" doc:"still good, gone off, or mistake: the newest look at this jar does not count"`
	At   time.Time `json:"at,omitzero" doc:"when it was looked at; absent with mistake"`
	AgeH float64   `json:"age_h,omitempty" doc:"age of the mix then in h"`
}

// JarsEnded records that a test is over.
type JarsEnded struct {
	Ink    string `json:"ink" doc:"id of the ink"`
	Counts bool   `json:"counts" doc:"what was seen counts for what is learned of the ink"`
}

// JarTest is a test of an ink in jars.
type JarTest struct {
	Started JarsStarted `json:"started"`
	Looks   []JarLooked `json:"looks,omitempty"` // those that count, in the order in which they were recorded
	EndedAt time.Time   `json:"ended_at,omitzero"`
	// Countable: the age lacks a gap of unknown length, which will be known once the clock is set. Unseen is the jump of
	// bench time at the restart, which is part of that gap.
	Countable bool          `json:"countable,omitempty"`
	Unseen    time.Duration `json:"unseen_ns,omitempty"`
}

// move moves the instants of a test by d, so that no age changes.
func (t *JarTest) move(d time.Duration) {
	t.Started.MixedAt = t.Started.MixedAt.Add(d)
	t.Looks = slices.Clone(t.Looks)
	for i := range t.Looks {
		t.Looks[i].At = t.Looks[i].At.Add(d)
	}
}

// countGap makes a test older by the gap that is known now that the clock is set, before all instants move by step.
func (t *JarTest) countGap(step time.Duration) {
	if t.Countable && step+t.Unseen >= 0 { // else the clock says less than was lived through
		t.move(-step - t.Unseen)
	}
	t.Countable, t.Unseen = false, 0
}

// keptJarTests is how many tests of an ink stay in the state, the newest.
const keptJarTests = 20

// MaxJarLooks bounds the looks of a test.
const MaxJarLooks = 1000

func (JarsStarted) Kind() Kind { return KindJarsStarted }
func (JarLooked) Kind() Kind   { return KindJarLooked }
func (JarsEnded) Kind() Kind   { return KindJarsEnded }

func (JarsStarted) About() string { return "" }
func (JarLooked) About() string   { return "" }
func (JarsEnded) About() string   { return "" }

func (e JarsStarted) apply(s *State, _ Record) {
	tests := append(slices.Clone(s.JarTests[e.Ink]), JarTest{Started: e})
	s.setJarTests(e.Ink, tests[max(0, len(tests)-keptJarTests):])
}

func (e JarLooked) apply(s *State, _ Record) {
	s.changeJarTest(e.Ink, func(t *JarTest) bool {
		if e.Seen != JarMistake {
			t.Looks = append(slices.Clone(t.Looks), e)
			return true
		}
		for i, l := range slices.Backward(t.Looks) {
			if l.Jar == e.Jar {
				t.Looks = slices.Delete(slices.Clone(t.Looks), i, i+1)
				break
			}
		}
		return true
	})
}

func (e JarsEnded) apply(s *State, r Record) {
	s.changeJarTest(e.Ink, func(t *JarTest) bool {
		t.EndedAt = r.Stamp.At
		return e.Counts
	})
}

// changeJarTest alters the running test of an ink, and removes it where f says so.
func (s *State) changeJarTest(ink string, f func(*JarTest) (keep bool)) {
	test, running := s.RunningJars(ink)
	if !running {
		return
	}
	tests := slices.Clone(s.JarTests[ink])
	tests = tests[:len(tests)-1]
	if f(&test) {
		tests = append(tests, test)
	}
	s.setJarTests(ink, tests)
}

// changeRunningJars alters the running tests of all inks.
func (s *State) changeRunningJars(f func(*JarTest)) {
	for _, ink := range slices.Sorted(maps.Keys(s.JarTests)) {
		s.changeJarTest(ink, func(t *JarTest) bool {
			f(t)
			return true
		})
	}
}

func (s *State) setJarTests(ink string, tests []JarTest) {
	s.JarTests = maps.Clone(s.JarTests)
	if s.JarTests == nil {
		s.JarTests = map[string][]JarTest{}
	}
	s.JarTests[ink] = tests
}

// RunningJars returns the test of an ink that is not over; false where there is none.
func (s *State) RunningJars(ink string) (JarTest, bool) {
	tests := s.JarTests[ink]
	if n := len(tests); n > 0 && tests[n-1].EndedAt.IsZero() {
		return tests[n-1], true
	}
	return JarTest{}, false
}

// Seen returns the ages in h at which a jar, counted from 1, was seen good last and gone off first; 0 for never.
func (t JarTest) Seen(jar int) (goodH, goneH float64) {
	for _, l := range t.Looks {
		switch {
		case l.Jar != jar:
		case l.Seen == JarGoneOff && (goneH == 0 || l.AgeH < goneH):
			goneH = l.AgeH
		case l.Seen == JarGood:
			goodH = max(goodH, l.AgeH)
		}
	}
	return goodH, goneH
}

// Evidence returns what the jars say that somebody looked at.
func (t JarTest) Evidence() learn.JarTest {
	of := learn.JarTest{ID: t.Started.MixedAt.UTC().Format(time.RFC3339)}
	for i, j := range t.Started.Jars {
		if good, gone := t.Seen(i + 1); good > 0 || gone > 0 {
			of.Jars = append(of.Jars, learn.SteadyJar(air.State{TemperatureC: j.TemperatureC, HumidityPct: j.HumidityPct}, good, gone, !j.Open))
		}
	}
	return of
}
