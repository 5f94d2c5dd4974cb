package web

import (
	"context"
	"net/http"
	"testing"
	"time"

	"potlifed/daemon/outcomes"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/learn"
)

// learnedInks are dial-satin, of which thirty batches went off a fifth too early, and
// dial-flat, of which nobody knows anything.
func learnedInks(context.Context) ([]outcomes.Learned, error) {
	sheet, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		return nil, err
	}
	pair := learn.Pair{Ink: "dial-satin", Sheet: sheet}
	for i := range 30 {
		age := time.Duration(0.8 * sheet.LRefH * (0.85 + 0.3*float64(i)/29) * float64(time.Hour))
		lived := learn.Steady(cure.Place{Exposure: 1}, air.State{TemperatureC: 20, HumidityPct: 50}, age)
		pair.Records = append(pair.Records, learn.Record{ID: string(rune('a' + i)), Kind: learn.Ended, To: lived})
	}
	var all []outcomes.Learned
	for _, r := range learn.FitShop([]learn.Pair{pair, {Ink: "dial-flat", Sheet: sheet}}) {
		all = append(all, outcomes.Learned{Result: r})
	}
	return all, nil
}

func TestLearning(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	w := answerTo(h, fromHere("GET", "/api/v1/inks/dial-satin/learning", ""))
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	got := object(t, w)
	if got["acceptable"] != true || got["ends"] != 30.0 || got["verdict"] == "" {
		t.Errorf("learning: %v", got)
	}
	if w := answerTo(h, fromHere("POST", "/api/v1/inks/dial-satin/accept-learned", "")); w.Code != http.StatusOK {
		t.Fatalf("accept: status %d: %s", w.Code, w.Body)
	}
	a, ok := s.asked[0].Change.(request.AcceptLearned)
	if !ok || a.Ink != "dial-satin" || a.Ends != 30 || !(a.Life.LRefH < 0.9*a.Sheet.LRefH) {
		t.Errorf("the bench was asked for %+v", s.asked[0].Change)
	}
	isProblem(t, answerTo(h, fromHere("POST", "/api/v1/inks/dial-flat/accept-learned", "")), http.StatusConflict)
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/inks/gold/learning", "")), http.StatusNotFound)
	if w := answerTo(h, fromHere("POST", "/api/v1/inks/dial-satin/revoke-learned", "")); w.Code != http.StatusOK {
		t.Errorf("revoke: status %d: %s", w.Code, w.Body)
	}
	if n := len(s.asked); n != 2 {
		t.Errorf("the bench was asked %d times, want 2", n)
	}
}
