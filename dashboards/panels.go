package dashboards

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// chosen selects the series of the benches that the reader chose. The queries of this package
// write BENCH for it.
const chosen = `job=~"$job",instance=~"$instance",bench=~"$bench"`

// query is one query of a panel. In its text, BENCH stands for the chosen benches.
type query struct {
	expr   string
	legend string // such as {{bench}} {{press}}
}

func (q query) promQL() string { return strings.ReplaceAll(q.expr, "BENCH", chosen) }

func (q query) build() *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source()).Expr(q.promQL()).LegendFormat(q.legend)
}

// about is what all panels have.
type about struct {
	title, text string
	unit        string // a name of Grafana's, such as percentunit
	width       uint32 // in 24ths of the page
	steps       []step
	queries     []query
}

// step is a limit from which on a value has another colour. Colours follow IEC 60073: green
// is normal, yellow asks for attention, red is a danger; no colour stands without its figure.
type step struct {
	from  float64
	color string
}

func (a about) thresholds() *dashboard.ThresholdsConfigBuilder {
	steps := []dashboard.Threshold{{Color: "text"}}
	for i, s := range a.steps {
		if i == 0 && s.from == lowest {
			steps[0].Color = s.color
			continue
		}
		steps = append(steps, dashboard.Threshold{Value: cog.ToPtr(s.from), Color: s.color})
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(steps)
}

// lowest is the limit of the first step when every value below the second has its colour.
const lowest = -1e308

func (a about) targets(instant bool) []cog.Builder[variants.Dataquery] {
	var targets []cog.Builder[variants.Dataquery]
	for i, q := range a.queries {
		t := q.build().RefId(string(rune('A' + i)))
		if instant {
			t = t.Instant()
		}
		targets = append(targets, t)
	}
	return targets
}

// lines is a chart over time.
func lines(a about) cog.Builder[dashboard.Panel] {
	p := timeseries.NewPanelBuilder().Title(a.title).Description(a.text).Unit(a.unit).
		Datasource(source()).Targets(a.targets(false)).Height(8).Span(a.width).
		LineWidth(2).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(false)}). // a gap is a gap
		Thresholds(a.thresholds()).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending))
	if len(a.steps) > 0 {
		p = p.ThresholdsStyle(common.NewGraphThresholdsStyleConfigBuilder().Mode(common.GraphThresholdsStyleModeDashed))
	}
	return p
}

// figures shows the newest value of each series, large.
func figures(a about) cog.Builder[dashboard.Panel] {
	return stat.NewPanelBuilder().Title(a.title).Description(a.text).Unit(a.unit).
		Datasource(source()).Targets(a.targets(true)).Height(5).Span(a.width).
		Thresholds(a.thresholds()).ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).
		TextMode(common.BigValueTextModeValueAndName).NoValue("not known").
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
}

// rows is a table of the newest values; the labels are its columns.
func rows(a about) cog.Builder[dashboard.Panel] {
	var targets []cog.Builder[variants.Dataquery]
	for i, q := range a.queries {
		targets = append(targets, q.build().RefId(string(rune('A'+i))).Instant().Format(prometheus.PromQueryFormatTable))
	}
	return table.NewPanelBuilder().Title(a.title).Description(a.text).Unit(a.unit).
		Datasource(source()).Targets(targets).Height(8).Span(a.width).
		Thresholds(a.thresholds()).NoValue("none").
		WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
			"excludeByName": map[string]bool{"Time": true, "__name__": true, "job": true, "instance": true},
		}})
}

// states shows over time which state each subject had. Its queries are 1 while a state holds;
// the legend names subject and state.
func states(a about) cog.Builder[dashboard.Panel] {
	return statetimeline.NewPanelBuilder().Title(a.title).Description(a.text).Unit(a.unit).
		Datasource(source()).Targets(a.targets(false)).Height(8).Span(a.width).
		Thresholds(a.thresholds()).ShowValue(common.VisibilityModeNever).MergeValues(true).
		Mappings([]dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText, Options: map[string]dashboard.ValueMappingResult{
			"0": {Text: cog.ToPtr("no"), Color: cog.ToPtr("transparent")},
			"1": {Text: cog.ToPtr("yes")},
		}}}})
}
