package bench

import (
	"errors"

	"potlifed/daemon/request"
	"potlifed/model/guide"
)

// asRefusal returns the refusal that an error of a change is answered with.
func asRefusal(err error) error {
	var r *request.Refusal
	if errors.As(err, &r) {
		return r
	}
	var g *guide.StepError
	if errors.As(err, &g) {
		return &request.Refusal{Kind: request.NotNow, Code: g.Code, Title: "not now", Detail: g.Reason}
	}
	return request.Refuse(request.Invalid, "not like this", "%v", err)
}

// refuseAs returns a refusal of the kind [request.NotNow] with a code.
func refuseAs(code, title, format string, args ...any) *request.Refusal {
	r := request.Refuse(request.NotNow, title, format, args...)
	r.Code = code
	return r
}
