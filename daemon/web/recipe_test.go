package web

import (
	"net/http"
	"strings"
	"testing"
)

func TestRecipe(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	w := answerTo(h, fromHere("GET", "/api/v1/recipe?ink=dial-satin&press=press-1", ""))
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), `"why":["because"]`) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/recipe?ink=gold", "")), http.StatusUnprocessableEntity)
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/recipe", "")), http.StatusUnprocessableEntity)
}
