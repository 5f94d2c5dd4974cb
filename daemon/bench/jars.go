package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/jars"
	"potlifed/model/verify"
)

// jarsLook is how often people are taken to look at the jars of a test.
const jarsLook = 10 * time.Minute

// startJars plans a test of an ink in jars and records its start.
func (b *Bench) startJars(now time.Time, by actor.Name, c request.StartJars) (any, error) {
	ink, err := b.jarsInk(c.Ink)
	if err != nil {
		return nil, err
	}
	if _, running := b.state.RunningJars(ink.ID); running {
		return nil, request.Refuse(request.NotNow, "a test is running", "a test of %s in jars is running; end it first", ink.ID).Saying("jars-running", "ink", ink.ID)
	}
	e := record.JarsStarted{Ink: ink.ID, MixedAt: now}
	if c.MixedAt != nil {
		e.MixedAt = *c.MixedAt
	}
	if e.MixedAt.After(now) || now.Sub(e.MixedAt) > 24*time.Hour {
		return nil, request.Refuse(request.Invalid, "mixed_at", "mixed_at is %v; want a time of the last 24 hours", e.MixedAt).Saying("jars-time")
	}
	var all []jars.Jar
	for i, p := range c.Jars {
		j := record.PlannedJar{TemperatureC: p.TemperatureC, Salt: p.Salt, Open: p.Open}
		if (p.Salt == "") == (p.HumidityPct == nil) {
			return nil, request.Refuse(request.Invalid, "jars", "jars[%d]: want either salt or humidity_pct", i).Saying("jars-air", "jar", i+1)
		}
		if p.Salt == "" {
			j.HumidityPct = *p.HumidityPct
		} else {
			salt, _ := verify.FindSalt(p.Salt)
			if j.HumidityPct, _, err = salt.HumidityPct(p.TemperatureC); err != nil {
				return nil, request.Refuse(request.Invalid, "jars", "jars[%d]: %v", i, err).Saying("jars-salt", "jar", i+1, "least_c", 10, "most_c", 40, "most_carbonate_c", 30)
			}
		}
		e.Jars = append(e.Jars, j)
		all = append(all, jars.Jar{Mix: "1", Air: air.State{TemperatureC: j.TemperatureC, HumidityPct: j.HumidityPct}})
	}
	plan, err := jars.Expect(ink.Life, all, jars.DefaultNoise, jarsLook)
	if err != nil {
		return nil, request.Refuse(request.Invalid, "jars", "%v", err).Saying("jars-plan")
	}
	for i, ends := range plan.Jars {
		e.Jars[i].LowH, e.Jars[i].ExpectedH, e.Jars[i].HighH = ends.LowH, ends.ExpectedH, ends.HighH
	}
	e.Before, e.After = record.JarSpreads(plan.Before), record.JarSpreads(plan.After)
	b.decide(now, by, e)
	return b.shop.inkView(b.state, ink), nil
}

// lookAtJar records what a person saw of a jar.
func (b *Bench) lookAtJar(now time.Time, by actor.Name, c request.LookAtJar) (any, error) {
	ink, test, err := b.runningJars(c.Ink)
	if err != nil {
		return nil, err
	}
	if c.Jar < 1 || c.Jar > len(test.Started.Jars) {
		return nil, request.Refuse(request.NotFound, "no such jar", "the test of %s has jars 1 to %d", ink.ID, len(test.Started.Jars)).Saying("jars-none", "jar", c.Jar)
	}
	if len(test.Looks) >= record.MaxJarLooks {
		return nil, request.Refuse(request.NotNow, "jars", "the test of %s has %d looks already; end it", ink.ID, len(test.Looks)).Saying("jars-many")
	}
	e := record.JarLooked{Ink: ink.ID, Jar: c.Jar, Seen: record.JarSeen(c.Seen)}
	good, gone := test.Seen(c.Jar)
	if e.Seen == record.JarMistake {
		if good == 0 && gone == 0 {
			return nil, request.Refuse(request.NotNow, "jars", "nobody has looked at jar %d", c.Jar).Saying("jars-no-look", "jar", c.Jar)
		}
		b.decide(now, by, e)
		return b.shop.inkView(b.state, ink), nil
	}
	e.At = now
	if c.At != nil {
		e.At = *c.At
	}
	if e.AgeH = e.At.Sub(test.Started.MixedAt).Hours(); !(e.AgeH > 0) || e.At.After(now) || e.AgeH > jars.MaxHours {
		return nil, request.Refuse(request.Invalid, "at", "at is %v; want a time after the first hardener, at most %d h after it and not in the future", e.At, jars.MaxHours).Saying("jars-time")
	}
	// A jar that has gone off is not good later.
	if e.Seen == record.JarGood && gone > 0 && e.AgeH >= gone || e.Seen == record.JarGoneOff && e.AgeH <= good {
		return nil, request.Refuse(request.NotNow, "jars", "jar %d was seen good after %.2f h and gone off after %.2f h; take the mistaken look back first", c.Jar, good, gone).Saying("jars-contradicts", "jar", c.Jar)
	}
	b.decide(now, by, e)
	return b.shop.inkView(b.state, ink), nil
}

// endJars ends a test.
func (b *Bench) endJars(now time.Time, by actor.Name, c request.EndJars) (any, error) {
	ink, test, err := b.runningJars(c.Ink)
	if err != nil {
		return nil, err
	}
	if !c.Discard && len(test.Evidence().Jars) == 0 {
		return nil, request.Refuse(request.NotNow, "jars", "nobody has looked at a jar of %s; discard the test", ink.ID).Saying("jars-nothing")
	}
	b.decide(now, by, record.JarsEnded{Ink: ink.ID, Counts: !c.Discard})
	return b.shop.inkView(b.state, ink), nil
}

func (b *Bench) jarsInk(id string) (config.Ink, error) {
	ink, err := b.shop.inkNamed(id)
	if err != nil {
		return config.Ink{}, request.Refuse(request.NotFound, "no such ink", "there is no ink %q in the configuration", id)
	}
	return ink, nil
}

func (b *Bench) runningJars(id string) (config.Ink, record.JarTest, error) {
	ink, err := b.jarsInk(id)
	if err != nil {
		return config.Ink{}, record.JarTest{}, err
	}
	test, running := b.state.RunningJars(ink.ID)
	if !running {
		return config.Ink{}, record.JarTest{}, request.Refuse(request.NotNow, "no test", "no test of %s in jars is running", ink.ID).Saying("jars-not-running", "ink", ink.ID)
	}
	return ink, test, nil
}
