package light

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func press(t *rapid.T) Press {
	flag := func(name string) bool { return rapid.IntRange(0, 3).Draw(t, name) == 0 }
	return Press{
		Loaded:               rapid.Bool().Draw(t, "loaded"),
		ReportedDead:         flag("reported dead"),
		PartWentOff:          flag("part"),
		PartWentOffElder:     flag("elder part"),
		Risk:                 rapid.SampledFrom([]float64{0, 0.1, 0.2499, 0.25, 0.9, 1, math.NaN()}).Draw(t, "risk"),
		StopAtRisk:           rapid.SampledFrom([]float64{0.25, 0.25, 0.25, 0.95, math.NaN()}).Draw(t, "stop"),
		AdhesionFirst:        flag("adhesion first"),
		TestFailed:           flag("test failed"),
		FaultOpen:            flag("fault"),
		Resting:              flag("resting"),
		QualityBad:           flag("bad"),
		QualityUncertain:     flag("uncertain"),
		AtLeast:              flag("at least"),
		Starting:             flag("starting"),
		ContentUnknown:       flag("content unknown"),
		PrintingWithoutBatch: flag("printing"),
		Ready:                rapid.SampledFrom([]string{"", "", "1129-4"}).Draw(t, "ready"),
		Coming:               rapid.SampledFrom([]string{"", "", "1129-5"}).Draw(t, "coming"),
		LowRemaining:         rapid.SampledFrom([]time.Duration{0, 44 * time.Minute, 45 * time.Minute, 46 * time.Minute, 5 * time.Hour}).Draw(t, "low"),
		SoonWithin:           45 * time.Minute,
		Alarm:                rapid.SampledFrom([]string{"", "life-cut"}).Draw(t, "alarm"),
	}
}

// expected is the contract's table written a second time, bottom row first, so
// that each higher row overwrites.
func expected(p Press) Meaning {
	m := Empty
	if p.Loaded {
		m = InOrder
		if p.QualityUncertain || p.SoonWithin >= p.LowRemaining {
			m = Soon
		}
	}
	if p.PrintingWithoutBatch || p.Ready != "" && !p.Loaded || (p.PartWentOffElder && p.Loaded) {
		m = Act
	}
	if p.Loaded && (p.QualityBad || p.AtLeast || p.Risk != p.Risk || p.StopAtRisk != p.StopAtRisk) || p.Starting || p.ContentUnknown {
		m = Unknown
	}
	if p.Loaded && (p.PartWentOff || p.TestFailed || p.FaultOpen || p.Resting || p.StopAtRisk <= p.Risk) || p.ReportedDead {
		m = DoNotPrint
	}
	return m
}

func TestOfIsTheTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := press(t)
		got := Of(p)
		if want := expected(p); got.Meaning != want {
			t.Fatalf("%+v: %s (%s), want %s", p, got.Meaning, got.Cause, want)
		}
		if got.Cause == "" {
			t.Fatalf("no cause: %+v", got)
		}
		if (got.Meaning == Act || got.Meaning == Soon || got.Meaning == InOrder) && got.Cause != AgeUncertain && got.Cause != PrintingWithoutBatch &&
			got.Cause != OlderPartGoneOff && p.Ready != "" && got.Mix != p.Ready {
			t.Fatalf("mix %s is ready, and nothing says so: %+v", p.Ready, got)
		}
		if got.Flashing != (p.Alarm != "" || got.Meaning == Unknown) || got.Alarm != p.Alarm {
			t.Fatalf("%s flashing: %v for alarm %q, want %q", got.Meaning, got.Flashing, got.Alarm, p.Alarm)
		}
		if got.Failed != (p.TestFailed && got.Cause == AdhesionDoubtful) {
			t.Fatalf("%+v: a failed test is told: %+v", p, got)
		}
		if got.Meaning == InOrder {
			switch {
			case !p.Loaded, p.ReportedDead, p.PartWentOff, p.PartWentOffElder, p.TestFailed, p.FaultOpen, p.Resting, p.QualityBad,
				p.QualityUncertain, p.AtLeast, p.Starting, p.ContentUnknown, p.PrintingWithoutBatch,
				!(p.Risk < p.StopAtRisk), p.LowRemaining <= p.SoonWithin:
				t.Fatalf("in order although %+v", p)
			}
		}
	})
}

func TestOfByExample(t *testing.T) {
	good := Press{Loaded: true, Risk: 0.01, StopAtRisk: 0.25, LowRemaining: 4 * time.Hour, SoonWithin: 45 * time.Minute}
	with := func(change func(*Press)) Press { p := good; change(&p); return p }
	for _, c := range []struct {
		name string
		p    Press
		want Meaning
	}{
		{"good", good, InOrder},
		{"nothing", Press{}, Empty},
		{"closed as gone off, not yet unloaded", Press{ReportedDead: true}, DoNotPrint},
		{"starting with nothing loaded", Press{Starting: true}, Unknown},
		{"nobody knows what stands there", Press{ContentUnknown: true}, Unknown},
		{"bad air with nothing loaded", Press{QualityBad: true}, Empty},
		{"risk at the limit, by adhesion", with(func(p *Press) { p.Risk, p.AdhesionFirst = 0.25, true }), DoNotPrint},
		{"risk at the limit", with(func(p *Press) { p.Risk = 0.25 }), DoNotPrint},
		{"the last test failed", with(func(p *Press) { p.TestFailed = true }), DoNotPrint},
		{"risk not known", with(func(p *Press) { p.Risk = math.NaN() }), Unknown},
		{"printing without a batch", Press{PrintingWithoutBatch: true}, Act},
		{"exactly at the warning", with(func(p *Press) { p.LowRemaining = 45 * time.Minute }), Soon},
		{"dead and bad", with(func(p *Press) { p.QualityBad, p.ReportedDead = true, true }), DoNotPrint},
		{"the next mix is ready", with(func(p *Press) { p.Ready = "1129-4" }), InOrder},
		{"an empty press whose mix is ready", Press{Ready: "1129-4"}, Act},
		{"an empty press whose mix is stirred", Press{Coming: "1129-4"}, Empty},
		{"a less spent part", with(func(p *Press) { p.PartWentOffElder = true }), Act},
	} {
		if got := Of(c.p); got.Meaning != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.Meaning, c.want)
		}
	}
}

// Colours by IEC 60073.
func TestColours(t *testing.T) {
	want := map[Meaning]string{DoNotPrint: "red", Unknown: "yellow", Act: "blue", Soon: "yellow", InOrder: "green", Empty: "white"}
	for _, m := range Meanings() {
		if m.Colour() != want[m] || m.AlwaysFlashes() != (m == Unknown) {
			t.Errorf("%s is %s, always flashing %v", m, m.Colour(), m.AlwaysFlashes())
		}
	}
	if len(Meanings()) != len(want) {
		t.Errorf("%d meanings", len(Meanings()))
	}
	if Meaning("no such word").Colour() != "yellow" {
		t.Error("a word that is no meaning must not look like one in order")
	}
}

func TestWorst(t *testing.T) {
	if Worst(nil) != -1 {
		t.Error("no press, no signal")
	}
	rapid.Check(t, func(t *rapid.T) {
		signals := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Signal { return Of(press(t)) }), 1, 5).Draw(t, "signals")
		got := signals[Worst(signals)]
		for _, m := range Meanings() {
			some, flashing := false, false
			for _, s := range signals {
				if s.Meaning == m {
					some = true
					flashing = flashing || s.Flashing
				}
			}
			if some {
				if got.Meaning != m || got.Flashing != flashing {
					t.Fatalf("%+v of %+v", got, signals)
				}
				return
			}
		}
	})
}

// What asks for different acts has different causes, also under one colour.
func TestCausesDiffer(t *testing.T) {
	good := Press{Loaded: true, Risk: 0.01, StopAtRisk: 0.25, LowRemaining: 4 * time.Hour, SoonWithin: 45 * time.Minute}
	ending, unsure := good, good
	ending.LowRemaining, unsure.QualityUncertain = 10*time.Minute, true
	a, b := Of(ending), Of(unsure)
	if a.Meaning != Soon || b.Meaning != Soon || a.Cause != EndsSoon || b.Cause != AgeUncertain {
		t.Errorf("ending: %+v, unsure: %+v", a, b)
	}
	if ending.LowRemaining = 0; a.Past || b.Past || !Of(ending).Past || Of(ending).Cause != EndsSoon {
		t.Errorf("what may end now is told from what ends soon: %+v, %+v, %+v", a, b, Of(ending))
	}
	if got := Of(Press{Ready: "1129-4"}); got.Cause != MixReady || got.Mix != "1129-4" {
		t.Errorf("an empty press: %+v", got)
	}
	causes := map[Cause]bool{}
	for _, row := range table {
		if causes[row.cause] {
			t.Errorf("two rows for %s", row.cause)
		}
		causes[row.cause] = true
	}
}

// A next mix of another ink is named with its ink, and only where the signal is about that mix.
func TestAnotherInkIsNamed(t *testing.T) {
	p := Press{Loaded: true, StopAtRisk: 0.25, LowRemaining: 4 * time.Hour, SoonWithin: 45 * time.Minute, Ready: "1129-4", ReadyInk: "dial-flat"}
	if got := Of(p); got.MixInk != "dial-flat" || got.Mix != "1129-4" {
		t.Errorf("another ink is ready, and the signal is %+v", got)
	}
	p.QualityUncertain = true
	if got := Of(p); got.MixInk != "" {
		t.Errorf("the ink of a mix that the signal does not name: %+v", got)
	}
}
