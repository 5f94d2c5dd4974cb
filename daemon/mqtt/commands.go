package mqtt

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/actor"
	"potlifed/daemon/excerpt"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
)

const (
	answerQueue = 64
	// busyAnswers is how much of the queue of answers those may fill that say that a command had
	// no room: a flood of them must leave room for the answers to commands that were carried out.
	busyAnswers = answerQueue / 2
	// commandFresh is how far a command's time may be from ours, either way. Reports of prints
	// and rejects may be older: they are counted at their time.
	commandFresh   = time.Minute
	commandTimeout = 30 * time.Second
)

// The outcomes of a command, as its answer names them.
const (
	outcomeDone    = "done"
	outcomeRefused = "refused"
	outcomeIgnored = "ignored"
)

// Given is a command as it was received.
type Given struct {
	Verb     string
	Payload  []byte
	Retained bool
	By       actor.Name // the user who gave it; empty where that is not known
	Denied   string     // why the user may not give it, empty where they may
}

// verbShape keeps text that a client wrote into a topic from appearing in one of ours.
var verbShape = regexp.MustCompile(`^[a-z][a-z-]{0,31}$`)

// receiveCommand takes a command that a broker delivered.
func (p *Publisher) receiveCommand(m paho.Message) {
	p.take(Given{Verb: strings.TrimPrefix(m.Topic(), p.topics.Do("")), Payload: m.Payload(), Retained: m.Retained()})
}

// take queues a command. It never blocks: it is called where the client library answers
// pings. A command for which the queue has no room is answered as refused. take may be
// called from any goroutine.
func (p *Publisher) take(in Given) {
	if in.By == "" {
		in.By = actor.MQTT // a broker does not say who published a message
	}
	if !verbShape.MatchString(in.Verb) {
		p.counts.add(directionIn, resultRejected)
		if n, due := p.invalid.line(time.Now()); due {
			p.log.Warn("command with an invalid verb", "verb", excerpt.Short(in.Verb), "by", in.By, "count", n)
		}
		return
	}
	if len(in.Payload) > topics.MaxCommandBytes {
		in.Payload = in.Payload[:topics.MaxCommandBytes+1] // enough to be refused for its length
	}
	if p.commands.put(in) {
		return
	}
	if len(p.answers) >= busyAnswers {
		p.unanswered(in)
		return
	}
	c, _ := ParseCommand(in.Verb, in.Payload)
	busy := p.refused(c, request.Refuse(request.Unavailable, "Busy", "too many commands are waiting already; repeat it later with the same ref"))
	select {
	case p.answers <- busy:
		p.counts.add(directionIn, resultRejected)
		p.wakeUp()
	default:
		p.unanswered(in)
	}
}

// unanswered counts a command that is dropped without an answer.
func (p *Publisher) unanswered(in Given) {
	p.counts.add(directionIn, resultError)
	if n, due := p.unheard.line(time.Now()); due {
		p.log.Warn("commands are dropped without an answer: too many wait; send fewer", "verb", in.Verb, "by", in.By, "count", n)
	}
}

// runCommands carries out commands one after another until the context ends.
func (p *Publisher) runCommands(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-p.commands.ready:
			in, ok := p.commands.next()
			if !ok {
				continue
			}
			a := p.execute(ctx, in)
			result := resultOK
			if a.Outcome != outcomeDone {
				result = resultRejected
				if n, due := p.notDone.line(time.Now()); due {
					p.log.Info("command not carried out", "verb", a.verb, "ref", a.Ref, "by", in.By, "outcome", a.Outcome, "detail", a.Detail, "count", n)
				}
			}
			p.counts.add(directionIn, result)
			select {
			case p.answers <- a:
				p.wakeUp()
			case <-ctx.Done():
				return
			}
		}
	}
}

// execute carries out a command, or decides that it may not be, and returns the answer.
func (p *Publisher) execute(ctx context.Context, in Given) Answer {
	c, err := ParseCommand(in.Verb, in.Payload)
	now := p.clock.Now().Wall
	age := now.Sub(c.At)
	switch {
	case in.Retained:
		return p.ignored(c, "retained: a command must be published without the retain flag")
	case in.Denied != "":
		return p.ignored(c, in.Denied)
	case !p.settings.Commands:
		return p.ignored(c, "commands are not allowed here; mqtt.commands in the configuration allows them")
	case err != nil:
		return p.refused(c, err)
	case age > c.fresh():
		return p.ignored(c, fmt.Sprintf("given %v ago by the bench's clock (%s); %v at most",
			age.Round(time.Second), now.Format(time.RFC3339), c.fresh()))
	case age < -commandFresh:
		return p.ignored(c, fmt.Sprintf("given in the future: it is %s by the bench's clock", now.Format(time.RFC3339)))
	}
	ctx, cancel := context.WithTimeout(ctx, commandTimeout)
	defer cancel()
	reply, err := p.bench.Do(ctx, request.Request{
		Change: c.Change, By: in.By, Key: key(in.By, c.Ref), Hash: c.Hash,
	})
	if err != nil {
		return p.refused(c, err)
	}
	a := Answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeDone, Status: 200, Result: reply.Body}
	if !reply.OnDisk {
		a.Status, a.OnDisk = 202, new(bool)
	}
	return a
}

// key returns a key for a ref that no other user can have: two users may choose the same ref.
func key(by actor.Name, ref string) string {
	if by == actor.MQTT {
		return "mqtt:" + ref
	}
	return "mqtt-user:" + string(by) + ":" + ref // a user's name has no colon
}

func (p *Publisher) ignored(c Command, detail string) Answer {
	return Answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeIgnored, Detail: detail}
}

func (p *Publisher) refused(c Command, err error) Answer {
	a := Answer{verb: c.Verb, Time: p.clock.Now().Wall, Ref: c.Ref, Outcome: outcomeRefused}
	var r *request.Refusal
	if errors.As(err, &r) {
		a.Status, a.Code, a.Detail = r.Kind.Status(), r.Code, r.Error()
		return a
	}
	a.Status = 503
	a.Detail = "the bench did not answer in time; the command may still be carried out: repeat it with the same ref to find out"
	return a
}
