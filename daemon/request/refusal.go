package request

import (
	"fmt"

	"potlifed/model/message"
)

// RefusalKind says why a change was not made. The API and the broker derive from it the
// status of their answers.
type RefusalKind string

const (
	// NotFound: the change names a batch, press, alarm or other thing that does not exist.
	NotFound RefusalKind = "not found"
	// NotNow: the change is valid, but not in the present state. It may be made later.
	NotNow RefusalKind = "not now"
	// Invalid: the change can never be made as it was asked for.
	Invalid RefusalKind = "invalid"
	// TooLong: the request has more bytes than are read.
	TooLong RefusalKind = "too long"
	// Unavailable: the bench cannot make any such change at present, as its journal
	// cannot write or too many requests wait.
	Unavailable RefusalKind = "unavailable"
)

// RefusalKinds returns all kinds.
func RefusalKinds() []RefusalKind {
	return []RefusalKind{NotFound, NotNow, Invalid, TooLong, Unavailable}
}

// Status returns the HTTP status of a refusal, which the answers to commands over MQTT carry too; 0 for an
// unknown kind.
func (k RefusalKind) Status() int {
	switch k {
	case NotFound:
		return 404
	case NotNow:
		return 409
	case TooLong:
		return 413
	case Invalid:
		return 422
	case Unavailable:
		return 503
	}
	return 0
}

// Refusal is the error of a change that was not made.
type Refusal struct {
	Kind RefusalKind
	// Code tells programs which refusal it is, where they may act on it; empty where the
	// kind is enough. Codes are public: they never change.
	Code   string
	Title  string
	Detail string // what is wrong, where, and what to do, for those who write programs
	// Message is the same for the person at the bench, Text its words in their language. Both are
	// empty where the kind says all.
	Message message.Message
	Text    string
}

func (r *Refusal) Error() string { return r.Title + ": " + r.Detail }

// Saying returns the refusal with a message for the person at the bench. values are the names of
// its values, each before its value (see [message.New]).
func (r *Refusal) Saying(key string, values ...any) *Refusal {
	r.Message = message.New(key, values...)
	return r
}

// Refuse returns a refusal without a code. Its detail is made from format and args, as
// [fmt.Sprintf] does.
func Refuse(kind RefusalKind, title, format string, args ...any) *Refusal {
	return &Refusal{Kind: kind, Title: title, Detail: fmt.Sprintf(format, args...)}
}
