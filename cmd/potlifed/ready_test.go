package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"potlifed/daemon/clock"
)

// TestReadinessNamesTheClock: a clock that is not set is said, and the bench is ready
// all the same: without a network it would never be.
func TestReadinessNamesTheClock(t *testing.T) {
	t.Parallel() // it waits more than it works
	for name, set := range map[string]bool{"set": true, "not set": false} {
		t.Run(name, func(t *testing.T) {
			system, err := clock.NewSystem(true)
			if err != nil {
				t.Fatal(err)
			}
			b := newHardware(t)
			p, _ := runsInside(t, b.configuration(t, ""), rebooted(system, "first", set))
			p.eventually("the clock to be named", func() (bool, any) {
				is := p.readiness()
				for _, c := range is.Checks {
					if c.Name == "clock" {
						told := strings.Contains(c.Detail, "not set")
						return is.Ready && c.OK && told != set, is
					}
				}
				return false, is
			})
		})
	}
}

// readiness is what /readyz answers.
type readiness struct {
	Status int `json:"-"` // of HTTP: 200, or 503 where it is not ready
	Ready  bool
	Checks []struct {
		Name, Detail string
		OK           bool
	}
}

// readiness asks; a program that does not answer is not ready.
func (p *program) readiness() (is readiness) {
	p.t.Helper()
	response, err := http.Get(p.http + "/readyz") // 503 until the instruments speak
	if err != nil {
		return is
	}
	defer response.Body.Close()
	is.Status = response.StatusCode
	if err := json.NewDecoder(response.Body).Decode(&is); err != nil {
		p.t.Fatal(err)
	}
	return is
}

// check returns a check by its name: whether it is in order, and what it says.
func (is readiness) check(name string) (ok bool, detail string) {
	for _, c := range is.Checks {
		if c.Name == name {
			return c.OK, c.Detail
		}
	}
	return false, "there is no such check"
}
