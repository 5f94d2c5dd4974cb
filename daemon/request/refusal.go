package request

import "fmt"

// Refusal is a change that was not made. Status is the HTTP status that fits:
// 404 no such thing, 409 not now, 422 not like this, 503 the journal cannot write.
type Refusal struct {
	Status int
	// Code tells programs which refusal it is, where an answer hangs on that; empty
	// where the status says enough. The codes are those of the guide.
	Code   string
	Title  string
	Detail string // what is wrong, where, and what to do
}

func (r *Refusal) Error() string { return r.Title + ": " + r.Detail }

// Refuse makes a refusal.
func Refuse(status int, title, format string, args ...any) *Refusal {
	return &Refusal{Status: status, Title: title, Detail: fmt.Sprintf(format, args...)}
}
