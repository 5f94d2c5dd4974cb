// Package actor names who makes a change: a paired device, an access token, a user of the
// built-in broker, an instrument, or one of three that have no name of their own.
package actor

import "strings"

// Name is the name of who made a change. It is published in the field `by`.
type Name string

const (
	// Bench is the program itself: what the loop decided.
	Bench Name = "bench"
	// MQTT is a client of an outside broker, which does not tell who it is.
	MQTT Name = "mqtt"
	// Local is the bench's own computer while no PIN is set.
	Local Name = "local"
)

// Reserved reports whether a name is one that no device and no token may have: bench, mqtt or
// local, in small or capital letters.
func Reserved(name string) bool {
	for _, n := range []Name{Local, Bench, MQTT} {
		if strings.EqualFold(string(n), name) {
			return true
		}
	}
	return false
}
