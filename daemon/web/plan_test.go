package web

import (
	"math"
	"net/http"
	"testing"
)

func TestPlan(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	const usual = "/api/v1/plan?ink=dial-satin&press=press-1&prints_per_hour=300"
	w := answerTo(h, fromHere("GET", usual+"&prints=1300&grams_per_print=0.2", ""))
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	got := object(t, w)
	mixes := got["mixes"].([]any)
	// 260 g of mix in cups of 150 g at most, each used up within its life of some hours.
	sum := 0.0
	for _, m := range mixes {
		sum += m.(map[string]any)["total_g"].(float64)
	}
	if len(mixes) != 2 || math.Abs(sum-260) > 1e-6 || got["left_g"].(float64) > 1e-6 {
		t.Errorf("%d mixes of %v g in all: %v", len(mixes), sum, got)
	}
	for query, status := range map[string]int{
		"/api/v1/plan": 422,
		"/api/v1/plan?ink=gold&press=press-1&prints_per_hour=300&prints=1&grams_per_print=1": 404,
		usual + "&prints=10&grams_per_print=500":                                             409, // no cup takes one print
		usual + "&prints=0&grams_per_print=1":                                                422,
		usual + "&prints=10&grams_per_print=-1":                                              422,
	} {
		isProblem(t, answerTo(h, fromHere("GET", query, "")), status)
	}
}
