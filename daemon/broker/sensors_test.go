package broker

import (
	"testing"

	"potlifed/daemon/topics"
)

// Sensors publish on the topics of the configuration: as guests, or as users who may report. No
// other topic is opened by that.
func TestWhoMayPublishAir(t *testing.T) {
	r := newRights(Settings{Topics: topics.New("potlife", "bench-1"), Sensors: []string{"sensors/hall"}})
	may := func(right bool) principal {
		return principal{user: User{Name: "gateway", May: func(verb string) bool { return right && verb == verbOfReports }}}
	}
	for _, c := range []struct {
		who   principal
		topic string
		want  bool
	}{
		{principal{}, "sensors/hall", true}, {may(true), "sensors/hall", true}, {may(false), "sensors/hall", false},
		{principal{}, "sensors/other", false}, {may(true), "sensors/other", false}, {principal{}, "potlife/bench-1/air/hall", false},
	} {
		if got := r.mayNotWrite(c.who, c.topic) == ""; got != c.want {
			t.Errorf("%q on %s: %v, want %v", c.who.user.Name, c.topic, got, c.want)
		}
	}
}
