package alarm

import (
	"regexp"
	"slices"
	"testing"
)

var public = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func TestEveryAlarmIsDefinedInFull(t *testing.T) {
	var lost []string
	for _, d := range Definitions() {
		found, ok := Find(d.Name)
		if !ok || found != d {
			t.Errorf("%s is not found by its name", d.Name)
		}
		if !public.MatchString(d.Name) {
			t.Errorf("%q cannot be a name in topics and addresses", d.Name)
		}
		if d.Priority != High && d.Priority != Medium && d.Priority != Low {
			t.Errorf("%s: priority %q", d.Name, d.Priority)
		}
		if d.Delays.On < 0 || d.Delays.Off <= 0 {
			t.Errorf("%s: delays %+v: without an off-delay it could chatter", d.Name, d.Delays)
		}
		if d.NeedsAir {
			lost = append(lost, d.Name)
		}
	}
	if want := []string{AirOutOfRange, LifeCut, Disagrees}; !slices.Equal(lost, want) {
		t.Errorf("a lost sensor suppresses %v, want %v and nothing else", lost, want)
	}
	if _, ok := Find("no-such-alarm"); ok {
		t.Error("an alarm that is not there was found")
	}
}
