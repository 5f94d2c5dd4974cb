// Package dashboards holds what a Prometheus and a Grafana make of the benches' metrics:
// alerting and recording rules with their tests, an example for Alertmanager, and
// Grafana dashboards, which the Go code of this package makes. The files under grafana are
// written by
//
//	go test ./dashboards -update
//
// and are committed, so that nobody needs Go to import them. A test fails when they are out
// of date.
package dashboards

import (
	"encoding/json"
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// File is a dashboard as Grafana imports it.
type File struct {
	Name string // of the file below grafana, such as bench.json
	JSON []byte
}

// Files returns all dashboards, in the order in which a person would look at them: from one
// bench to the whole plant.
func Files() ([]File, error) {
	var files []File
	for _, b := range []*board{bench(), pressFloor(), engineering(), maintenance(), fleet()} {
		made, err := b.build()
		if err != nil {
			return nil, fmt.Errorf("dashboard %s: %w", b.name, err)
		}
		text, err := json.MarshalIndent(made, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("dashboard %s: %w", b.name, err)
		}
		files = append(files, File{b.name + ".json", append(text, '\n')})
	}
	return files, nil
}

// board is a dashboard under construction.
type board struct {
	name, title, about string
	from               string // start of the time range that is shown first, such as now-24h
	rows               []row
}

// row is a titled group of panels.
type row struct {
	title  string
	panels []cog.Builder[dashboard.Panel]
}

func (b *board) build() (dashboard.Dashboard, error) {
	d := dashboard.NewDashboardBuilder("potlifed: "+b.title).
		Uid("potlifed-"+b.name).
		Description(b.about).
		Tags([]string{"potlifed"}).
		Readonly(). // changes are made in the Go code
		Refresh("30s").
		Time(b.from, "now").
		Timezone(common.TimeZoneBrowser).
		Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(dashboard.NewDashboardLinkBuilder("potlifed").Type(dashboard.DashboardLinkTypeDashboards).
			Tags([]string{"potlifed"}).AsDropdown(true).IncludeVars(true).KeepTime(true).
			Icon("dashboard").TargetBlank(false).Url("").Tooltip("The other dashboards")).
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Data source").Type("prometheus"))
	for _, v := range []struct{ name, label, query string }{
		{"job", "Job", "label_values(potlife_build_info, job)"},
		{"instance", "Instance", `label_values(potlife_build_info{job=~"$job"}, instance)`},
		{"bench", "Bench", `label_values(potlife_build_info{job=~"$job",instance=~"$instance"}, bench)`},
	} {
		d = d.WithVariable(dashboard.NewQueryVariableBuilder(v.name).Label(v.label).
			Datasource(source()).Query(dashboard.StringOrMap{String: &v.query}).
			Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc).
			Multi(true).IncludeAll(true).AllValue(".+"))
	}
	for _, r := range b.rows {
		d = d.WithRow(dashboard.NewRowBuilder(r.title))
		for _, p := range r.panels {
			d = d.WithPanel(p)
		}
	}
	return d.Build()
}

// source is the Prometheus that the reader chose.
func source() common.DataSourceRef {
	kind, uid := "prometheus", "${datasource}"
	return common.DataSourceRef{Type: &kind, Uid: &uid}
}
