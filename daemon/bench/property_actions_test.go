package bench

import (
	"maps"
	"slices"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/request"
	"potlifed/model/mix"
)

// inUse are what people do with a batch in use, and with tests of inks and instruments, for
// [TestAnyOrderOfRequests]. s and batch return the shop as it is now and the id of some batch.
func inUse(s func() *shop, batch func(*rapid.T) string) map[string]func(*rapid.T) {
	since := func(rt *rapid.T, at time.Time) *time.Time { // a moment about an hour or two from another
		return new(at.Add(time.Duration(rapid.IntRange(-60, 7200).Draw(rt, "after")) * time.Second))
	}
	several := func(one func(*rapid.T)) func(*rapid.T) { // one alone is seldom all that a test or a series needs
		return func(rt *rapid.T) {
			for range rapid.IntRange(2, 4).Draw(rt, "times") {
				one(rt)
			}
		}
	}
	return map[string]func(*rapid.T){
		"flow time": several(func(rt *rapid.T) {
			c := request.FlowTimeBatch{Batch: batch(rt), Cup: rapid.SampledFrom([]string{"ford-4", "iso-4", "ford-9"}).Draw(rt, "cup"), Seconds: rapid.Float64Range(15, 110).Draw(rt, "seconds")}
			if rapid.Bool().Draw(rt, "two runs") {
				c.SecondRunS = new(c.Seconds * rapid.Float64Range(0.9, 1.1).Draw(rt, "second"))
			}
			if rapid.Bool().Draw(rt, "measured") {
				c.InkTemperatureC = new(rapid.Float64Range(5, 40).Draw(rt, "ink"))
			}
			if b := s().b.state.Batches[c.Batch]; b != nil && len(b.Flows) > 0 && rapid.Bool().Draw(rt, "corrects") {
				c.Corrects = rapid.SampledFrom(b.Flows).Draw(rt, "flow").Seq
			}
			s().ask(c)
		}),
		"test": several(func(rt *rapid.T) {
			c := request.TestBatch{Batch: batch(rt), Kind: rapid.SampledFrom([]string{"adhesion", "rub", "other"}).Draw(rt, "kind"), Result: rapid.SampledFrom([]string{"pass", "fail"}).Draw(rt, "result")}
			if closed := s().b.state.Closed; len(closed) > 0 && rapid.Bool().Draw(rt, "closed") {
				c.Batch = rapid.SampledFrom(closed).Draw(rt, "of").ID
			}
			b, known := s().b.state.Find(c.Batch)
			if known && rapid.Bool().Draw(rt, "printed") {
				c.PrintedAt = since(rt, b.MixedAt)
			}
			if known && len(b.Tests) > 0 && rapid.Bool().Draw(rt, "corrects") {
				c.Corrects = rapid.SampledFrom(b.Tests).Draw(rt, "test").Seq
			}
			s().ask(c)
		}),
		"thinner": func(rt *rapid.T) {
			id := batch(rt)
			s().asks(rapid.SampledFrom([]request.Change{
				request.ThinBatch{Batch: id, Grams: rapid.Float64Range(0.1, 5).Draw(rt, "grams"), Override: "known"},
				request.ReweighBatch{Batch: id, ContentG: rapid.Float64Range(0, 120).Draw(rt, "content"), TakenG: rapid.Float64Range(0, 5).Draw(rt, "taken")},
				request.MoveBatch{Batch: id, Zone: rapid.SampledFrom([]string{"hall", "bench"}).Draw(rt, "zone")},
			}).Draw(rt, "change"))
		},
		"jars": several(func(rt *rapid.T) {
			ink := rapid.SampledFrom([]string{"dial-satin", "dial-satin", "dial-satin", "dial-flat", "gold"}).Draw(rt, "ink")
			jar := rapid.SampledFrom([]int{1, 1, 1, 2, 4, 5}).Draw(rt, "jar")
			test, running := s().b.state.RunningJars(ink)
			if !running || rapid.IntRange(0, 9).Draw(rt, "another") == 0 {
				s().asks(rapid.SampledFrom([]request.Change{
					request.StartJars{Ink: ink, Jars: fourJars(), MixedAt: new(s().b.clock.now().Add(-2 * time.Hour))}, request.StartJars{Ink: ink, Jars: fourJars()[:jar%3+1]},
					request.LookAtJar{Ink: ink, Jar: jar, Seen: "good"}, request.EndJars{Ink: ink},
				}).Draw(rt, "change"))
				return
			}
			at := since(rt, test.Started.MixedAt)
			s().asks(rapid.SampledFrom([]request.Change{
				request.LookAtJar{Ink: ink, Jar: jar, Seen: "good"}, request.LookAtJar{Ink: ink, Jar: jar, Seen: "good", At: at}, request.LookAtJar{Ink: ink, Jar: jar, Seen: "gone-off", At: at},
				request.LookAtJar{Ink: ink, Jar: jar, Seen: "mistake"}, request.EndJars{Ink: ink}, request.EndJars{Ink: ink, Discard: true},
			}).Draw(rt, "change"))
		}),
		"instrument": func(rt *rapid.T) {
			s().asks(rapid.SampledFrom([]request.Change{
				request.VerifySensor{Sensor: "bench-air", Salt: "sodium-chloride"}, request.AcceptCorrection{Sensor: "bench-air"}, request.RevokeCorrection{Sensor: "bench-air"},
				request.ReplaceDevice{Sensor: "bench-air"}, request.RevokeLearned{Ink: "dial-satin"},
			}).Draw(rt, "change"))
		},
	}
}

// goodRecord records a mix as the ink's recipe has it.
func goodRecord(mixed time.Time) request.RecordMix {
	return request.RecordMix{Ink: "dial-satin", MixedAt: mixed, Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 5}}}
}

// checkJars holds for every state: a jar went off after it was seen good, all tests but the newest of an ink are over, and
// what is over was looked at.
func checkJars(rt *rapid.T, s *shop) {
	for _, ink := range slices.Sorted(maps.Keys(s.b.state.JarTests)) {
		tests := s.b.state.JarTests[ink]
		for i, test := range tests {
			if over := !test.EndedAt.IsZero(); !over && i < len(tests)-1 || over && len(test.Evidence().Jars) == 0 {
				rt.Fatalf("test %d of %d of %s, over: %v, with %d jars looked at", i+1, len(tests), ink, over, len(test.Evidence().Jars))
			}
			for jar := range test.Started.Jars {
				if good, gone := test.Seen(jar + 1); gone > 0 && good >= gone {
					rt.Fatalf("jar %d of %s was seen good after %v h and gone off after %v h", jar+1, ink, good, gone)
				}
			}
		}
	}
}
