package mqtt

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode"

	"potlifed/daemon/request"
	"potlifed/daemon/strictjson"
	"potlifed/daemon/topics"
)

const maxRefBytes = 128

// Command is a change that was asked for over MQTT.
type Command struct {
	Verb   string
	Ref    string    // names the command in its answer and makes repetitions harmless
	At     time.Time // when it was given
	Change request.Change
	Hash   string // of verb and change, without ref and at
}

// ParseCommand reads the payload of a command: `{"ref","at",…}` with the fields of the
// verb's change. The error is a [*request.Refusal]; the command then has the verb, and
// the ref where that could be read.
func ParseCommand(verb string, payload []byte) (Command, error) {
	c := Command{Verb: verb}
	if len(payload) > topics.MaxCommandBytes {
		return c, request.Refuse(request.TooLong, "Command too long", "%d bytes; %d at most", len(payload), topics.MaxCommandBytes)
	}
	given, err := strictjson.Object(payload)
	if err != nil {
		return c, request.Refuse(request.Invalid, "Not a command", "%v; want an object {\"ref\",\"at\",…}", err)
	}
	if c.Ref, err = readRef(given); err != nil {
		return c, err
	}
	if err := readAt(given, &c.At); err != nil {
		return c, err
	}
	delete(given, "ref")
	delete(given, "at")
	row, known := request.Find(verb)
	if !known || !row.MQTT {
		return c, request.Refuse(request.NotFound, "No such command", "%q is no verb; /asyncapi.json lists those that there are", verb)
	}
	if c.Change, err = readChange(row, given); err != nil {
		return c, request.Refuse(request.Invalid, "Not like this", "%s: %v", verb, err)
	}
	canonical, err := json.Marshal(c.Change)
	if err != nil {
		return c, request.Refuse(request.Invalid, "Not like this", "%s: %v", verb, err)
	}
	sum := sha256.Sum256(append([]byte(verb+"\n"), canonical...))
	c.Hash = hex.EncodeToString(sum[:])
	if late, is := c.Change.(request.Late); is {
		c.Change = late.Occurred(c.At)
	}
	return c, nil
}

// fresh returns how old the command may be.
func (c Command) fresh() time.Duration {
	if _, late := c.Change.(request.Late); late {
		return request.MaxLate
	}
	return commandFresh
}

func readRef(fields map[string]json.RawMessage) (string, error) {
	raw, ok := fields["ref"]
	if !ok {
		return "", request.Refuse(request.Invalid, "No ref", `"ref" is missing: a name of your own for this command, new for each`)
	}
	var ref string
	if err := json.Unmarshal(raw, &ref); err != nil {
		return "", request.Refuse(request.Invalid, "No ref", `"ref" is not a text`)
	}
	if ref == "" || len(ref) > maxRefBytes || strings.ContainsFunc(ref, unicode.IsControl) {
		return "", request.Refuse(request.Invalid, "No ref", `"ref" must have 1 to %d bytes and no control characters`, maxRefBytes)
	}
	return ref, nil
}

func readAt(fields map[string]json.RawMessage, at *time.Time) error {
	raw, ok := fields["at"]
	if !ok {
		return request.Refuse(request.Invalid, "No time", `"at" is missing: when the command was given, as in "2026-01-02T15:04:05Z"`)
	}
	if err := json.Unmarshal(raw, at); err != nil || string(raw) == "null" {
		return request.Refuse(request.Invalid, "No time", `"at" is no time; want one as in "2026-01-02T15:04:05Z"`)
	}
	return nil
}

// readChange returns the change of a row with the given fields. The error names a field
// that is missing, unknown or of another type; what a field may hold is checked by the
// bench.
func readChange(row request.Row, given map[string]json.RawMessage) (request.Change, error) {
	body, err := json.Marshal(given)
	if err != nil {
		return nil, err
	}
	pointer, change := row.New()
	if err := strictjson.Decode(body, pointer); err != nil {
		return nil, err
	}
	for _, name := range row.Required() {
		if v := string(given[name]); v == "" || v == `""` || v == "null" {
			return nil, fmt.Errorf("%q is missing", name)
		}
	}
	return change(), nil
}
