// Package mqtt is potlifed's MQTT 3.1.1 client. It publishes the state of the bench and its
// events, takes commands, and holds a separate connection for each topic that a light reads.
//
// Under one [Publisher] run: one worker that publishes states, events and answers in order
// on the main connection; one worker that carries out commands one after another; and one
// for each topic of a light. A state is published when it has changed enough, and only its
// newest value matters. Events are published in order from the journal, whose cursor is the
// only record of what is still to be sent. Nothing here can delay the bench: this package
// only reads from it, and sends it requests through its queue.
package mqtt
