package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/model/viscosity"
)

// KindFlowTimed is the kind of [FlowTimed].
const KindFlowTimed Kind = "flow-timed"

// FlowTimed records the flow time of a batch from a flow cup. With the curve of that time it says how old
// the batch is. It does not replace weighing.
type FlowTimed struct {
	Batch            string           `json:"batch" doc:"id of the batch"`
	Cup              string           `json:"cup" doc:"flow cup"`
	RunsS            []float64        `json:"runs_s" doc:"flow time of each run in s"`
	InkTemperatureC  *float64         `json:"ink_temperature_c,omitempty" doc:"temperature of the ink in °C; absent when it was not measured"`
	ViscosityMM2PerS float64          `json:"viscosity_mm2_s" doc:"kinematic viscosity of the mean of the runs in mm²/s"`
	Corrects         uint64           `json:"corrects,omitempty" doc:"number of the event whose figures were wrong and do not count any more"`
	Sample           viscosity.Sample `json:"sample" doc:"what the runs say of the viscosity, and how surely"`
	Curve            viscosity.Curve  `json:"curve" doc:"what is known of the ink's viscosity against its age"`
}

// Flow is a flow time of a batch.
type Flow struct {
	Seq              uint64    `json:"seq" doc:"number of the event"`
	At               time.Time `json:"at" doc:"when it was measured"`
	Cup              string    `json:"cup" doc:"flow cup"`
	RunsS            []float64 `json:"runs_s" doc:"flow time of each run in s"`
	InkTemperatureC  *float64  `json:"ink_temperature_c,omitempty" doc:"temperature of the ink in °C; absent when it was not measured"`
	ViscosityMM2PerS float64   `json:"viscosity_mm2_s" doc:"kinematic viscosity in mm²/s"`
	Spent            float64   `json:"spent" doc:"share of the pot life that was used up then"`
	Agree            bool      `json:"agree" doc:"two runs agree; a flow time whose runs do not can only shorten the pot life"`

	Sample viscosity.Sample `json:"sample" doc:"what the runs say of the viscosity, and how surely"`
}

// keptFlows is how many flow times of a batch stay in the state.
const keptFlows = 50

func (FlowTimed) Kind() Kind               { return KindFlowTimed }
func (e FlowTimed) About() string          { return e.Batch }
func (e FlowTimed) affects(State) affected { return batchesOnly(e.Batch) }
func (e FlowTimed) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		if b.Ensemble == nil {
			return
		}
		b.Ensemble = b.Ensemble.Clone()
		b.Flows = slices.DeleteFunc(slices.Clone(b.Flows), func(f Flow) bool { return f.Seq == e.Corrects })
		b.Ensemble.Unhear(e.Corrects)
		// A record that cannot be judged, as from a damaged journal, stays a figure without effect.
		_ = b.Ensemble.Hear(r.Seq, e.Curve, e.Sample)
		b.Flows = append(b.Flows, Flow{
			Seq: r.Seq, At: r.Stamp.At, Cup: e.Cup, RunsS: e.RunsS, InkTemperatureC: e.InkTemperatureC,
			ViscosityMM2PerS: e.ViscosityMM2PerS, Spent: b.Ensemble.Spent(), Agree: e.Sample.Agree(), Sample: e.Sample,
		})
		b.Flows = b.Flows[max(0, len(b.Flows)-keptFlows):]
	})
}

// keptSeries is how many measured batches of an ink its curve is learned from, the newest.
const keptSeries = 25

// keepSeries keeps the flow times of a batch that ends. seen: somebody saw it go off.
func (s *State) keepSeries(b Batch, seen bool) {
	if len(b.Flows) == 0 || b.Ensemble == nil {
		return
	}
	series := viscosity.Series{Batch: b.ID}
	if seen {
		series.EndDose = b.Ensemble.Spent()
	}
	for _, f := range b.Flows {
		series.Points = append(series.Points, viscosity.Point{Dose: f.Spent, Of: f.Sample})
	}
	s.FlowSeries = maps.Clone(s.FlowSeries)
	if s.FlowSeries == nil {
		s.FlowSeries = map[string][]viscosity.Series{}
	}
	all := append(slices.Clone(s.FlowSeries[b.Ink]), series)
	s.FlowSeries[b.Ink] = all[max(0, len(all)-keptSeries):]
}

// forgetSeries removes the series of a batch whose end was undone.
func (s *State) forgetSeries(ink, id string) {
	if n := len(s.FlowSeries[ink]); n > 0 && s.FlowSeries[ink][n-1].Batch == id {
		s.FlowSeries = maps.Clone(s.FlowSeries)
		s.FlowSeries[ink] = slices.Clone(s.FlowSeries[ink][:n-1])
	}
}
