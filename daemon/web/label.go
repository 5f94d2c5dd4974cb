package web

import (
	"math"
	"net/http"
	"strings"

	"potlifed/daemon/view"
	"potlifed/daemon/web/label"
	"potlifed/model/lifecycle"
)

// labelOf is the label of a batch; why says why there is none.
func (s *Server) labelOf(b view.Batch, now *view.Snapshot) (l label.Label, why string) {
	l.Batch, l.Locale = b.ID, s.settings.Locale
	switch {
	case b.State == lifecycle.Closed:
		return l, l.Locale.Say("label.closed")
	case b.EndsAt == nil || b.MixedAt == nil:
		return l, l.Locale.Say("label.no-hardener")
	}
	l = label.Label{
		Batch: b.ID, Ink: b.Ink, Press: b.For, MixedAt: *b.MixedAt, Low: b.EndsAt.Low, Expected: b.EndsAt.Expected,
		MadeAt: now.At, Uncertain: b.Quality != view.QualityGood, Locale: s.settings.Locale,
	}
	if b.RatioReason != "" && b.Ratio != nil {
		values := []any{"off", l.Locale.Percent(math.Abs(b.Ratio.OffPct), 0), "why", onLabel(b.RatioReason)}
		if b.Ratio.OffPct > 0 {
			l.RatioFault = l.Locale.Say("label.much-hardener", values...)
		} else {
			l.RatioFault = l.Locale.Say("label.little-hardener", values...)
		}
	}
	if b.Press != nil {
		l.Press = *b.Press
	}
	if s.settings.PublicURL != "" {
		l.URL = strings.TrimSuffix(s.settings.PublicURL, "/") + "/batches/" + b.ID
	}
	return l, ""
}

// onLabel is a reason as far as a label has room for it. The batch's page has it whole.
func onLabel(reason string) string {
	const most = 30 // letters
	if letters := []rune(reason); len(letters) > most {
		return strings.TrimSpace(string(letters[:most-1])) + "…"
	}
	return reason
}

// labelAsked is the label of the batch that a request names; ok is false when there is no
// such batch, which is answered then.
func (s *Server) labelAsked(w http.ResponseWriter, r *http.Request) (l label.Label, why string, ok bool) {
	now := s.bench.Snapshot()
	b, ok := findBatch(now, r.PathValue("id"))
	if !ok {
		s.refusePage(w, r, problem(http.StatusNotFound, "", "there is no open batch of that id").Saying("label-no-batch"))
		return l, "", false
	}
	l, why = s.labelOf(b, now)
	return l, why, true
}

// labelSVG draws the label of a batch.
func (s *Server) labelSVG(w http.ResponseWriter, r *http.Request) {
	l, why, ok := s.labelAsked(w, r)
	if !ok {
		return
	}
	if why != "" {
		p := problem(http.StatusConflict, "", why)
		p.Text = why
		s.refusePage(w, r, p)
		return
	}
	svg, err := l.SVG()
	if err != nil {
		p := problem(http.StatusUnprocessableEntity, "", "the label cannot be drawn: http.public_url is too long for its code")
		p.Text = s.settings.Locale.Say("label.address-too-long")
		s.refusePage(w, r, p)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(svg)
}

// labelPage shows it, to be printed.
func (s *Server) labelPage(w http.ResponseWriter, r *http.Request) {
	l, why, ok := s.labelAsked(w, r)
	if !ok {
		return
	}
	var sheets []view.SafetySheet
	for _, ink := range s.bench.Snapshot().Inks {
		if ink.ID == l.Ink {
			sheets = ink.SafetySheets
		}
	}
	body, err := s.pages.Label(l, why, sheets)
	if err != nil {
		s.log.Error("label page", "err", err)
		s.refusePage(w, r, problem(http.StatusInternalServerError, "", "the page could not be made; the bench's log says why"))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(body)
}
