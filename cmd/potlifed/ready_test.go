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
				var is struct {
					Ready  bool
					Checks []struct {
						Name, Detail string
						OK           bool
					}
				}
				response, err := http.Get(p.http + "/readyz") // 503 until the instruments speak
				if err != nil {
					return false, err
				}
				defer response.Body.Close()
				if err := json.NewDecoder(response.Body).Decode(&is); err != nil {
					return false, err
				}
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
