// Package request holds what people and programs may ask of the bench: the changes with
// their fields, a request and its reply, and the refusal of one. HTTP and MQTT read the
// same structures.
package request

import (
	"encoding/json"

	"potlifed/daemon/actor"
)

// Change is something a person or a program asks for. The same structures are read
// from HTTP bodies and from MQTT commands.
type Change interface {
	// Verb returns the last word of the change's HTTP path, which is also its MQTT
	// command.
	Verb() string
}

// Request is a change with who asks for it.
type Request struct {
	Change Change
	By     actor.Name
	Key    string // honoured for a day: the same key gets the same answer; may be empty
	Hash   string // of what was asked, with Key
}

// Reply answers a request. Body is the changed thing as JSON.
type Reply struct {
	Body   json.RawMessage
	OnDisk bool
}
