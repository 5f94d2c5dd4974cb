package metrics

import (
	"flag"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"potlifed/daemon/wiretest"
)

var update = flag.Bool("update", false, "rewrite the list of names on the wire")

var described = regexp.MustCompile(`fqName: "([^"]+)".*constLabels: \{([^}]*)\}, variableLabels: \{([^}]*)\}`)

// TestNamesOfMetrics pins every metric of ours with its labels.
func TestNamesOfMetrics(t *testing.T) {
	found := make(chan *prometheus.Desc, 1000)
	newCollector(Settings{Bench: "bench-1"}, newStand(shop(1)), "go").Describe(found)
	d := NewDurations("bench-1")
	d.readingToPublish.Describe(found)
	d.journalWrite.Describe(found)
	close(found)
	var lines []string
	for desc := range found {
		parts := described.FindStringSubmatch(desc.String())
		if parts == nil {
			t.Fatalf("%s: not understood", desc)
		}
		var labels []string
		for _, label := range strings.Split(parts[2]+","+parts[3], ",") {
			label, _, _ = strings.Cut(label, "=")
			if label != "" {
				labels = append(labels, label)
			}
		}
		lines = append(lines, parts[1]+"{"+strings.Join(labels, ",")+"}")
	}
	slices.Sort(lines)
	wiretest.Golden(t, "../..", "metrics.golden", *update, lines)
}
