package mqtt

import "time"

// sendAnswers publishes what became of commands.
func (p *Publisher) sendAnswers() {
	for len(p.unsent) < answerQueue {
		select {
		case a := <-p.answers:
			p.unsent = append(p.unsent, a)
			continue
		default:
		}
		break
	}
	messages := make([]message, 0, len(p.unsent))
	for _, a := range p.unsent {
		b, err := a.encode()
		if err != nil {
			p.log.Error("answer not encoded", "verb", a.verb, "ref", a.Ref, "err", err)
		}
		messages = append(messages, message{topic: p.topics.Done(a.verb), qos: 1, payload: b})
	}
	errs := p.send(messages)
	rest := p.unsent[:0]
	for i, a := range p.unsent {
		if errs[i] != nil {
			rest = append(rest, a)
			continue
		}
		p.said(messages[i])
	}
	p.unsent = rest
	p.sayAgain()
}

// said remembers an answer that the broker has acknowledged, and that one should be back.
func (p *Publisher) said(m message) {
	p.lastSaid, p.saidAt = m, time.Now()
	p.handed.sent(wordDone, p.saidAt)
}

// sayAgain repeats the newest answer at a slow pace while the broker hands none out, and
// so finds that its rights were mended. Whoever waits for it knows it by its ref.
func (p *Publisher) sayAgain() {
	now := time.Now()
	if !p.handed.missing(wordDone, now, p.outbox.patience) || now.Sub(p.saidAt) < p.outbox.probe {
		return
	}
	if p.send([]message{p.lastSaid})[0] == nil {
		p.saidAt = now
	}
}
