package mqtt

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"potlifed/daemon/request"
)

const (
	maxCommandBytes = 64 << 10
	maxRefBytes     = 128
)

// Command is a change that somebody asked for over MQTT.
type Command struct {
	Verb   string
	Ref    string    // names the command in its answer and makes repetitions harmless
	At     time.Time // when it was given
	Change request.Change
	Hash   string // of verb and change, without ref and at
}

// later are the verbs of the contract that this version does not know yet.
var later = map[string]bool{
	"defects": true, "replaced": true,
}

// ParseCommand reads the payload of a command: `{"ref","at",…}` with the fields of the
// verb's change. The error is a [*record.Refusal] with the status that an HTTP request
// would get; the command then has the verb, and the ref where that could be read.
func ParseCommand(verb string, payload []byte) (Command, error) {
	c := Command{Verb: verb}
	if len(payload) > maxCommandBytes {
		return c, request.Refuse(413, "Command too long", "%d bytes; %d at most", len(payload), maxCommandBytes)
	}
	if err := strict(payload); err != nil {
		return c, request.Refuse(422, "Not a command", "%v; want an object {\"ref\",\"at\",…}", err)
	}
	var given map[string]json.RawMessage
	if err := json.Unmarshal(payload, &given); err != nil {
		return c, request.Refuse(422, "Not a command", "%v", err)
	}
	var err error
	if c.Ref, err = readRef(given); err != nil {
		return c, err
	}
	if err := readAt(given, &c.At); err != nil {
		return c, err
	}
	delete(given, "ref")
	delete(given, "at")
	switch {
	case verbs[verb] != nil:
	case later[verb]:
		return c, request.Refuse(501, "Not yet", "%q comes with a later version", verb)
	default:
		return c, request.Refuse(404, "No such command", "%q is no verb", verb)
	}
	body, err := json.Marshal(given)
	if err != nil {
		return c, request.Refuse(422, "Not a command", "%v", err)
	}
	if c.Change, err = verbs[verb](body); err != nil {
		return c, request.Refuse(422, "Not like this", "%s: %s", verb, strings.TrimPrefix(err.Error(), "json: "))
	}
	canonical, err := json.Marshal(c.Change)
	if err != nil {
		return c, request.Refuse(422, "Not like this", "%s: %v", verb, err)
	}
	sum := sha256.Sum256(append([]byte(verb+"\n"), canonical...))
	c.Hash = hex.EncodeToString(sum[:])
	return c, nil
}

func readRef(fields map[string]json.RawMessage) (string, error) {
	raw, ok := fields["ref"]
	if !ok {
		return "", request.Refuse(422, "No ref", `"ref" is missing: a name of your own for this command, new for each`)
	}
	var ref string
	if err := json.Unmarshal(raw, &ref); err != nil {
		return "", request.Refuse(422, "No ref", `"ref" is not a text`)
	}
	if ref == "" || len(ref) > maxRefBytes || strings.ContainsFunc(ref, unicode.IsControl) {
		return "", request.Refuse(422, "No ref", `"ref" must have 1 to %d bytes and no control characters`, maxRefBytes)
	}
	return ref, nil
}

func readAt(fields map[string]json.RawMessage, at *time.Time) error {
	raw, ok := fields["at"]
	if !ok {
		return request.Refuse(422, "No time", `"at" is missing: when the command was given, as in "2026-01-02T15:04:05Z"`)
	}
	if err := json.Unmarshal(raw, at); err != nil || string(raw) == "null" {
		return request.Refuse(422, "No time", `"at" is no time; want one as in "2026-01-02T15:04:05Z"`)
	}
	return nil
}

// verbs read the changes that this version knows. What a field may hold is the
// bench's to judge; here is only what must be there at all.
var verbs = map[string]func([]byte) (request.Change, error){
	"mix":     reader(func(c request.StartMix) fields { return fields{"scale": c.Scale, "ink": c.Ink} }),
	"record":  reader(func(c request.RecordMix) fields { return fields{"ink": c.Ink, "mixed_at": timeGiven(c.MixedAt)} }),
	"confirm": reader(func(c request.ConfirmStep) fields { return fields{"batch": c.Batch, "step": c.Step} }),
	"correct": reader(func(c request.CorrectPour) fields { return fields{"batch": c.Batch} }),
	"undo":    reader(func(c request.Undo) fields { return fields{"batch": c.Batch, "seq": numberGiven(c.Seq)} }),
	"take-up": reader(func(c request.TakeUp) fields { return fields{"batch": c.Batch} }),
	"load":    reader(func(c request.LoadBatch) fields { return fields{"batch": c.Batch, "press": c.Press} }),
	"unload":  reader(func(c request.UnloadBatch) fields { return fields{"batch": c.Batch} }),
	"good":    reader(func(c request.GoodBatch) fields { return fields{"batch": c.Batch} }),
	"abandon": reader(func(c request.AbandonMix) fields { return fields{"batch": c.Batch} }),
	"close":   reader(func(c request.CloseBatch) fields { return fields{"batch": c.Batch, "outcome": c.Outcome} }),
	"move":    reader(func(c request.MoveBatch) fields { return fields{"batch": c.Batch} }),
	"split":   reader(func(c request.SplitBatch) fields { return fields{"batch": c.Batch} }),
	"top-up":  reader(func(c request.TopUpBatch) fields { return fields{"batch": c.Batch, "from": c.From} }),
	"thin":    reader(func(c request.ThinBatch) fields { return fields{"batch": c.Batch} }),
	"reweigh": reader(func(c request.ReweighBatch) fields { return fields{"batch": c.Batch} }),
	"tests":   reader(func(c request.TestBatch) fields { return fields{"batch": c.Batch, "kind": c.Kind, "result": c.Result} }),
	"acknowledge": reader(func(c request.AcknowledgeAlarm) fields {
		return fields{"alarm": c.Alarm, "subject": c.Subject}
	}),
	"shelve": reader(func(c request.ShelveAlarm) fields {
		return fields{"alarm": c.Alarm, "subject": c.Subject, "until": timeGiven(c.Until)}
	}),
	"unshelve": reader(func(c request.UnshelveAlarm) fields {
		return fields{"alarm": c.Alarm, "subject": c.Subject}
	}),
	"out-of-service": reader(func(c request.TakeOutOfService) fields {
		return fields{"sensor": c.Sensor, "until": timeGiven(c.Until), "reason": c.Reason}
	}),
	"verifications": reader(func(c request.VerifySensor) fields { return fields{"sensor": c.Sensor} }),
	"prints":        reader(func(c request.CountPrints) fields { return fields{"press": c.Press} }),
	"cans":          reader(func(request.MakeCan) fields { return nil }),
	"opened":        reader(func(c request.OpenCan) fields { return fields{"can": c.Can} }),
	"stirred":       reader(func(c request.StirCan) fields { return fields{"can": c.Can} }),
	"emptied":       reader(func(c request.EmptyCan) fields { return fields{"can": c.Can} }),
	"in-service":    reader(func(c request.PutInService) fields { return fields{"sensor": c.Sensor} }),
}

// fields are the fields that a change must have, with what it has.
type fields map[string]string

func reader[C request.Change](must func(C) fields) func([]byte) (request.Change, error) {
	return func(body []byte) (request.Change, error) {
		var c C
		d := json.NewDecoder(bytes.NewReader(body))
		d.DisallowUnknownFields()
		if err := d.Decode(&c); err != nil {
			return nil, err
		}
		have := must(c)
		for _, name := range slices.Sorted(maps.Keys(have)) {
			if have[name] == "" {
				return nil, fmt.Errorf("%q is missing", name)
			}
		}
		return c, nil
	}
}

// timeGiven is empty for no time.
func numberGiven(n uint64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatUint(n, 10)
}

func timeGiven(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.String()
}
