package mqtt

import (
	"time"

	"potlifed/daemon/topics"
)

// sendAnswers publishes the answers to commands.
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
		p.lastAnswer, p.lastAnswerAt = messages[i], time.Now()
		p.delivery.sent(topics.KindDone, p.lastAnswerAt)
	}
	p.unsent = rest
	p.resendAnswer()
}

// resendAnswer repeats the newest answer slowly while the broker delivers no answers, and so
// detects that its access rules were corrected. A reader recognises the answer by its ref.
func (p *Publisher) resendAnswer() {
	now := time.Now()
	if !p.delivery.overdue(topics.KindDone, now, p.outbox.patience) || now.Sub(p.lastAnswerAt) < p.outbox.retry {
		return
	}
	if p.send([]message{p.lastAnswer})[0] == nil {
		p.lastAnswerAt = now
	}
}
