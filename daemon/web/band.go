package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/view"
	"potlifed/model/cure"
)

type bandQuery struct {
	ID string `path:"id" maxLength:"64" doc:"id of the batch"`
}

// band is where the width of an open batch's band comes from.
type band struct {
	ID     string    `json:"id" doc:"id of the batch"`
	EndsAt view.Ends `json:"ends_at" doc:"when the pot life is expected to end"`
	cure.Explained
	Names     []string      `json:"names" doc:"names of the parts, in their order, for people"`
	Advice    string        `json:"advice" doc:"what would make the band narrowest, in a sentence; empty where nothing is known to"`
	Trend     *heardTrend   `json:"trend,omitempty" doc:"what an instrument that follows the batch says, as far as the band includes it; absent without one. Experimental"`
	FlowTimes []heardSample `json:"flow_times" doc:"flow times of the batch that the band includes, oldest first; the parts are those of the band without them"`
}

// heardSample is how far a flow time is believed.
type heardSample struct {
	Seq       uint64  `json:"seq" doc:"number of its event"`
	Confirmed bool    `json:"confirmed" doc:"two runs agree, and the ink's temperature with the cup's: it can lengthen the pot life too"`
	Doubted   float64 `json:"doubted" doc:"probability that it is wrong, 0 to 1, as all flow times of the batch together say"`
	Why       string  `json:"why,omitempty" doc:"why it counts for less than a sure one, in a sentence"`
}

// heardTrend is how far an instrument that follows a batch is believed.
type heardTrend struct {
	Instrument string  `json:"instrument" doc:"id of the instrument"`
	Confirmed  bool    `json:"confirmed" doc:"a value was confirmed by the next one: it can lengthen the pot life too"`
	Learned    bool    `json:"learned" doc:"how its value rises was learned from batches whose end was seen; otherwise it can only shorten the pot life"`
	Doubted    float64 `json:"doubted" doc:"probability that the newest value is wrong, 0 to 1"`
	Why        string  `json:"why" doc:"how far it counts, in a sentence"`
}

func (s *Server) bands(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "band", Method: http.MethodGet, Path: base + "batches/{id}/band",
		Summary: "Where the width of an open batch's band comes from, and what would make it narrower",
		Errors:  []int{http.StatusNotFound, http.StatusConflict},
	}, s.band)
}

func (s *Server) band(_ context.Context, in *bandQuery) (*answer[band], error) {
	snap := s.bench.Snapshot()
	life, open := snap.Lives[in.ID]
	at := slices.IndexFunc(snap.Batches, func(b view.Batch) bool { return b.ID == in.ID })
	if !open || at < 0 || snap.Batches[at].EndsAt == nil {
		return nil, noLifeYet(in.ID)
	}
	row := snap.Batches[at]
	explained, ok := snap.Outlooks[row.Zone].Explain(life.Ensemble, life.Place, life.Weighing)
	if !ok {
		return nil, problem(http.StatusConflict, "", fmt.Sprintf("batch %q was mixed by another version of the program, which cannot be explained", excerpt.Short(in.ID))).Saying("other-version", "batch", excerpt.Short(in.ID))
	}
	out := band{ID: in.ID, EndsAt: *row.EndsAt, Explained: explained, Names: []string{}, FlowTimes: []heardSample{}}
	for _, part := range explained.Parts {
		out.Names = append(out.Names, s.settings.Locale.Say("band-part."+part.Part))
	}
	if len(explained.Narrowings) > 0 {
		best := explained.Narrowings[0]
		out.Advice = s.settings.Locale.Say("band-advice."+best.By, "pct", s.settings.Locale.Percent(100*(1-best.Width), 0))
	}
	if f, ok := life.Ensemble.Followed(); ok && life.Instrument != "" {
		out.Trend = &heardTrend{Instrument: life.Instrument, Confirmed: f.Confirmed, Learned: f.Learned, Doubted: f.Doubted, Why: s.whyFollowed(life.Instrument, f)}
	}
	for _, h := range life.Ensemble.Heard() {
		out.FlowTimes = append(out.FlowTimes, heardSample{Seq: h.ID, Confirmed: h.Confirmed, Doubted: h.Doubted, Why: s.whyDoubted(h)})
	}
	return &answer[band]{out}, nil
}

// doubtful is the probability of being wrong from which on a flow time is named: less likely right than wrong.
const doubtful = 0.5

// whyDoubted returns why a flow time counts for less, empty for one that counts in full.
func (s *Server) whyDoubted(h cure.Heard) string {
	switch {
	case h.Doubted >= doubtful:
		return s.settings.Locale.Say("band.doubted", "pct", s.settings.Locale.Percent(100*h.Doubted, 0))
	case !h.Agree:
		return s.settings.Locale.Say("band.single-run")
	case h.TwoCups:
		return s.settings.Locale.Say("band.two-cups")
	case !h.Confirmed:
		return s.settings.Locale.Say("band.other-temperature", "step", s.settings.Locale.TemperatureStep(2))
	}
	return ""
}

// whyFollowed returns how far an instrument that follows a batch counts.
func (s *Server) whyFollowed(instrument string, f cure.Followed) string {
	w := s.settings.Locale
	switch {
	case f.Flat:
		return w.Say("band.trend-flat", "trend", instrument)
	case f.Doubted >= doubtful:
		return w.Say("band.trend-doubted", "trend", instrument, "pct", w.Percent(100*f.Doubted, 0))
	case !f.Learned:
		return w.Say("band.trend-not-learned", "trend", instrument)
	case !f.Confirmed:
		return w.Say("band.trend-beginning", "trend", instrument)
	}
	return w.Say("band.trend-confirmed", "trend", instrument)
}
