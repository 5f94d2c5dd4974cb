package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"io"
	"net/http"
	"sync"
	"time"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/history"
	"potlifed/daemon/report"
	"potlifed/daemon/view"
)

// reportPolicy is the content policy of a report: nothing but the style sheet that stands in it.
var reportPolicy = sync.OnceValue(func() string {
	sum := sha256.Sum256([]byte(report.Style()))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
})

const reportSpan = 7 * 24 * time.Hour

// report answers with the report of a span, the last week if none is named, or of a lot.
func (s *Server) report(w http.ResponseWriter, r *http.Request) {
	asked := r.URL.Query()
	lot := asked.Get("lot")
	usual := reportSpan
	if lot != "" {
		usual = historyEver
	}
	find, err := s.spanOf(r.Context(), PastSpan{From: asked.Get("from"), To: asked.Get("to")}, usual)
	if err == nil && s.settings.Study == nil {
		err = problem(http.StatusServiceUnavailable, "", "this bench stores no history").Saying("no-history")
	}
	back := "/study"
	if lot != "" {
		back = "/cans"
	}
	var out bytes.Buffer // so that a report that fails half way has an answer of its own
	if err == nil {
		err = s.writeReport(r.Context(), &out, s.reportSources(s.bench.Snapshot()), report.Request{From: find.From, To: find.To, Lot: lot, Back: back})
		if errors.Is(err, report.ErrNoLot) {
			err = problem(http.StatusNotFound, "", "no batch that ended has the lot "+excerpt.Short(lot)+" in it").Saying("no-lot", "lot", excerpt.Short(lot))
		} else if err != nil {
			err = s.unpast(r.Context(), err)
		}
	}
	if err != nil {
		p := problem(http.StatusInternalServerError, "", "the report could not be made; the bench's log says why")
		errors.As(err, &p)
		s.refusePage(w, r, p)
		return
	}
	w.Header().Set("Content-Security-Policy", reportPolicy())
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(out.Bytes())
}

func (s *Server) writeReport(ctx context.Context, w io.Writer, from report.Sources, q report.Request) error {
	if s.settings.Report != nil {
		return s.settings.Report(ctx, w, from, q)
	}
	return report.Write(ctx, w, from, q)
}

// checkRecord answers with the record of an instrument's newest check, for printing.
func (s *Server) checkRecord(w http.ResponseWriter, r *http.Request) {
	now, id := s.bench.Snapshot(), r.PathValue("id")
	for _, i := range now.Sensors {
		if i.ID != id {
			continue
		}
		recorded, err := s.checksOf(r.Context(), i)
		if err != nil {
			p := problem(http.StatusInternalServerError, "", "the record could not be made; the bench's log says why")
			errors.As(s.unpast(r.Context(), err), &p)
			s.refusePage(w, r, p)
			return
		}
		var out bytes.Buffer
		written, err := report.WriteCheck(&out, now.Bench, "/devices", i, recorded, s.settings.Locale)
		if err != nil {
			s.log.Error("record of a check not made", "device", id, "err", err)
			s.refusePage(w, r, problem(http.StatusInternalServerError, "", "the record could not be made; the bench's log says why"))
			return
		}
		if written {
			w.Header().Set("Content-Security-Policy", reportPolicy())
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Header().Set("Cache-Control", "no-store")
			w.Write(out.Bytes())
			return
		}
	}
	s.refusePage(w, r, problem(http.StatusNotFound, "", "no check of "+excerpt.Short(id)+" is known").Saying("no-check", "device", excerpt.Short(id)))
}

// checksOf returns the stored checks of a sensor, oldest first; none of a scale, or where there is no history.
func (s *Server) checksOf(ctx context.Context, i view.Sensor) ([]history.Check, error) {
	if s.settings.History == nil || i.Scale {
		return nil, nil
	}
	if err := s.settings.History.Fresh(ctx); err != nil {
		return nil, err
	}
	now := s.bench.Snapshot().At
	return s.settings.History.Checks(ctx, i.ID, now.Add(-historyEver), now.Add(time.Second), s.zone(), historyRows)
}

func (s *Server) reportSources(now *view.Snapshot) report.Sources {
	from := report.Sources{Bench: now.Bench, History: s.settings.History, Study: s.settings.Study, Locale: s.settings.Locale, Kind: s.defectWords}
	for _, z := range now.Air {
		from.Zones = append(from.Zones, z.Zone)
	}
	for _, p := range now.Presses {
		from.Presses = append(from.Presses, report.Press{ID: p.ID, Zone: p.Zone})
	}
	return from
}
