package request

import "time"

// StartJars starts a test of an ink in jars: one mix, shared among jars of different air.
type StartJars struct {
	Ink     string     `json:"ink,omitempty" hidden:"true" doc:"id of the ink"`
	MixedAt *time.Time `json:"mixed_at,omitempty" doc:"first hardener; default now, at most a day ago"`
	Jars    []JarPlace `json:"jars" maxItems:"48" doc:"the jars, at least two; the first is jar 1"`
}

// JarPlace is where a jar stands.
type JarPlace struct {
	TemperatureC float64  `json:"temperature_c" minimum:"-10" maximum:"60" doc:"temperature where the jar stands in °C"`
	Salt         string   `json:"salt,omitempty" enum:"lithium-chloride,magnesium-chloride,potassium-carbonate,sodium-chloride,potassium-chloride,potassium-sulphate" doc:"salt whose saturated solution is in the jar; its humidity at the temperature is looked up"`
	HumidityPct  *float64 `json:"humidity_pct,omitempty" minimum:"1" maximum:"99" doc:"relative humidity of the air there in %; leave it out with salt"`
	Open         bool     `json:"open,omitempty" doc:"it stands open, and is stirred as a cup in use"`
}

// LookAtJar records what a person saw of a jar of the ink's running test.
type LookAtJar struct {
	Ink  string     `json:"ink,omitempty" hidden:"true" doc:"id of the ink"`
	Jar  int        `json:"jar" doc:"number of the jar, from 1"`
	Seen string     `json:"seen" enum:"good,gone-off,mistake" doc:"still good, gone off, or mistake: the newest look at this jar does not count"`
	At   *time.Time `json:"at,omitempty" doc:"when it was looked at; default now"`
}

// EndJars ends the running test of an ink.
type EndJars struct {
	Ink     string `json:"ink,omitempty" hidden:"true" doc:"id of the ink"`
	Discard bool   `json:"discard,omitempty" doc:"what was seen does not count"`
}

func (StartJars) Verb() string { return "start-jars" }

func (LookAtJar) Verb() string { return "look-at-jar" }

func (EndJars) Verb() string { return "end-jars" }
