package mqtt

// LetAnswer lets clients publish on the topics on which these lights' lamps report back,
// beside commands. It may be called at any time.
func (b *Broker) LetAnswer(lights []Light) {
	topics := map[string]bool{}
	for _, l := range lights {
		if l.Confirms != "" {
			topics[l.Confirms] = true
		}
	}
	b.guard.answers.Store(&topics)
}

// mayAnswer reports a topic on which a lamp reports back.
func (g *guard) mayAnswer(topic string) bool {
	topics := g.answers.Load()
	return topics != nil && (*topics)[topic]
}
