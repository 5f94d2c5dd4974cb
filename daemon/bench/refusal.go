package bench

import (
	"errors"

	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/guide"
)

// asRefusal returns the refusal that an error of a change is answered with. Each has a text for
// people: where none was written for the case, the one of its kind.
func (c *catalogue) asRefusal(err error) error {
	var r *request.Refusal
	var g *guide.StepError
	switch {
	case errors.As(err, &r):
		if r.Message.Key != "" {
			r.Text = c.locale.Refusal(r.Message)
		}
	case errors.As(err, &g):
		r = &request.Refusal{Kind: request.NotNow, Code: g.Code, Title: "not now", Detail: words.Locale{}.StepRefusal(g.Message), Text: c.locale.StepRefusal(g.Message)}
	default:
		r = request.Refuse(request.Invalid, "not like this", "%v", err)
	}
	if r.Text == "" {
		r.Text = c.locale.RefusalOf(r.Kind)
	}
	return r
}

// refuseAs returns a refusal of the kind [request.NotNow] with a code.
func refuseAs(code, title, format string, args ...any) *request.Refusal {
	r := request.Refuse(request.NotNow, title, format, args...)
	r.Code = code
	return r
}
