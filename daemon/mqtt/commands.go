package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/actor"
	"potlifed/daemon/request"
)

const (
	commandQueue = 32
	answerQueue  = 64
	// commandFresh is how far a command's time may be from ours, either way.
	commandFresh   = time.Minute
	commandTimeout = 30 * time.Second
)

// The outcomes of a command, as its answer names them.
const (
	outcomeDone    = "done"
	outcomeRefused = "refused"
	outcomeIgnored = "ignored"
)

// incoming is a command as it came.
type incoming struct {
	verb      string
	payload   []byte
	retained  bool
	by        actor.Name
	forbidden string // why whoever gave it may not, empty when he may
}

// answer says what became of a command.
type answer struct {
	verb string

	Time    time.Time       `json:"time"`
	Ref     string          `json:"ref"`
	Outcome string          `json:"outcome"`
	Code    string          `json:"code,omitempty"`   // which refusal it is
	Status  int             `json:"status,omitempty"` // of done and refused, as HTTP would answer
	Detail  string          `json:"detail,omitempty"` // why not, and what to do
	OnDisk  *bool           `json:"on_disk,omitempty"`
	Result  json.RawMessage `json:"result,omitempty"` // the thing that was changed
}

// encode writes the answer out. A result that is not JSON costs the result alone.
func (a answer) encode() ([]byte, error) {
	b, err := json.Marshal(a)
	if err != nil && a.Result != nil {
		a.Result = nil
		return json.Marshal(a)
	}
	return b, err
}

// verbShape keeps what somebody wrote into a topic from coming back in one of ours.
var verbShape = regexp.MustCompile(`^[a-z][a-z-]{0,31}$`)

// hand passes on a command that came from a broker.
func (p *Publisher) hand(m paho.Message) {
	p.take(incoming{
		verb: strings.TrimPrefix(m.Topic(), p.topics.Do("")), payload: m.Payload(), retained: m.Retained(), by: actor.MQTT,
	})
}

// take passes a command on without ever blocking: it runs where pings are answered. What
// finds the queue full is answered at once. It may be called from any goroutine.
func (p *Publisher) take(in incoming) {
	if !verbShape.MatchString(in.verb) {
		p.counts.add(directionIn, resultRejected)
		p.log.Warn("command with an impossible verb", "verb", shortened(in.verb), "by", in.by)
		return
	}
	if len(in.payload) > maxCommandBytes {
		in.payload = in.payload[:maxCommandBytes+1] // enough to be refused for its length
	}
	select {
	case p.commands <- in:
		return
	default:
	}
	c, _ := ParseCommand(in.verb, in.payload)
	busy := p.refused(c, request.Refuse(request.Unavailable, "Busy", "%d commands wait already; repeat it later with the same ref", commandQueue))
	select {
	case p.answers <- busy:
		p.counts.add(directionIn, resultRejected)
		p.stir()
	default:
		p.counts.add(directionIn, resultError)
		p.log.Warn("command dropped without an answer: both queues are full", "verb", in.verb, "ref", c.Ref)
	}
}

// obey carries out commands one after another until the context ends.
func (p *Publisher) obey(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case in := <-p.commands:
			a := p.carryOut(ctx, in)
			result := resultOK
			if a.Outcome != outcomeDone {
				result = resultRejected
				p.log.Info("command not carried out", "verb", a.verb, "ref", a.Ref, "outcome", a.Outcome, "detail", a.Detail)
			}
			p.counts.add(directionIn, result)
			select {
			case p.answers <- a:
				p.stir()
			case <-ctx.Done():
				return
			}
		}
	}
}

// carryOut decides what becomes of a command.
func (p *Publisher) carryOut(ctx context.Context, in incoming) answer {
	c, err := ParseCommand(in.verb, in.payload)
	now := p.clock.Now().Wall
	age := now.Sub(c.At)
	switch {
	case in.retained:
		return p.ignored(c, "retained: a command is for once; publish it without the retain flag")
	case in.forbidden != "":
		return p.ignored(c, in.forbidden)
	case !p.settings.Commands:
		return p.ignored(c, "commands are not allowed here; mqtt.commands in the configuration allows them")
	case err != nil:
		return p.refused(c, err)
	case age > commandFresh:
		return p.ignored(c, fmt.Sprintf("given %v ago by the bench's clock (%s); %v at most",
			age.Round(time.Second), now.Format(time.RFC3339), commandFresh))
	case age < -commandFresh:
		return p.ignored(c, fmt.Sprintf("given in the future: it is %s by the bench's clock", now.Format(time.RFC3339)))
	}
	ctx, cancel := context.WithTimeout(ctx, commandTimeout)
	defer cancel()
	reply, err := p.bench.Do(ctx, request.Request{
		Change: c.Change, By: in.by, Key: key(in.by, c.Ref), Hash: c.Hash,
	})
	if err != nil {
		return p.refused(c, err)
	}
	a := answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeDone, Status: 200, Result: reply.Body}
	if !reply.OnDisk {
		a.Status, a.OnDisk = 202, new(bool)
	}
	return a
}

// key makes a ref one's own: what two users call the same is not the same.
func key(by actor.Name, ref string) string {
	if by == actor.MQTT {
		return "mqtt:" + ref
	}
	return "mqtt-user:" + string(by) + ":" + ref // a user's name has no colon
}

func (p *Publisher) ignored(c Command, detail string) answer {
	return answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeIgnored, Detail: detail}
}

// statusOf gives the status of the answer to a refused command. It is the status that the
// API gives to the same refusal.
var statusOf = map[request.RefusalKind]int{
	request.NotFound: 404, request.NotNow: 409, request.TooLong: 413, request.Invalid: 422, request.Unavailable: 503,
}

func (p *Publisher) refused(c Command, err error) answer {
	a := answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeRefused}
	var r *request.Refusal
	if errors.As(err, &r) {
		a.Status, a.Code, a.Detail = statusOf[r.Kind], r.Code, r.Error()
		return a
	}
	a.Status = 503
	a.Detail = "no answer from the bench in time; it may still be done: repeat it with the same ref to find out"
	return a
}
