package view

import (
	"time"

	"potlifed/daemon/precision"
)

// JarTest is a running test of an ink in jars.
type JarTest struct {
	MixedAt time.Time  `json:"mixed_at" doc:"first hardener"`
	Jars    []Jar      `json:"jars" doc:"the jars"`
	Before  JarSpreads `json:"before" doc:"how surely the ink is known without the test"`
	After   JarSpreads `json:"after" doc:"how surely it is expected to be known with it"`
}

// Jar is a jar of a test.
type Jar struct {
	Jar          int        `json:"jar" doc:"number of the jar"`
	TemperatureC float64    `json:"temperature_c" doc:"temperature where it stands in °C"`
	HumidityPct  float64    `json:"humidity_pct" doc:"relative humidity of the air in it in %"`
	Salt         string     `json:"salt,omitempty" doc:"salt whose saturated solution is in it; absent for none"`
	Open         bool       `json:"open,omitempty" doc:"it stands open, and is stirred as a cup in use"`
	LookFrom     time.Time  `json:"look_from" doc:"one jar in ten ends before"`
	Expected     time.Time  `json:"expected_at" doc:"when it is expected to end"`
	Until        time.Time  `json:"look_until" doc:"one jar in ten ends after this"`
	LastGood     *time.Time `json:"last_good_at,omitempty" doc:"when it was seen good last; absent for never"`
	GoneOff      *time.Time `json:"gone_off_at,omitempty" doc:"when it was seen gone off first; absent for never"`
}

// JarSpreads are standard deviations of what is known of an ink.
type JarSpreads struct {
	ActivationKJPerMol float64 `json:"activation_kj_mol" doc:"standard deviation of the activation energy in kJ/mol"`
	MoistureShare      float64 `json:"moisture_share" doc:"standard deviation of the share of the pot life that moisture determines"`
}

// Rounded returns the test with its figures rounded.
func (t JarTest) Rounded() JarTest {
	jars := make([]Jar, len(t.Jars))
	for i, j := range t.Jars {
		j.TemperatureC, j.HumidityPct = precision.Celsius(j.TemperatureC), precision.Percent(j.HumidityPct)
		j.LookFrom, j.Expected, j.Until = j.LookFrom.Truncate(time.Second), j.Expected.Truncate(time.Second), j.Until.Truncate(time.Second)
		jars[i] = j
	}
	t.Jars, t.Before, t.After = jars, t.Before.rounded(), t.After.rounded()
	return t
}

func (s JarSpreads) rounded() JarSpreads {
	return JarSpreads{precision.KJPerMol(s.ActivationKJPerMol), precision.Share(s.MoistureShare)}
}
