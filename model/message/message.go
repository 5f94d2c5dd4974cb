// Package message holds a sentence for a person as a key and the values that belong into it. The
// packages of the model say by it what is to be said. The words, their language and the forms of
// figures and times belong to the program that shows them.
package message

import "reflect"

// Message is a sentence for a person.
type Message struct {
	Key    string // such as "cup-away"
	Values Values // nil for a sentence without values
}

// Values are the values of a sentence by their names. The name of a mass in g ends in _g, that of
// a share of a hundred in _pct, that of a temperature in °C in _c; all are float64, or int where decimals would
// say too much. The
// name of a day, a text such as 2026-03-31, ends in _on; n is a count. Others are text, a whole
// number, a [time.Duration], or a typed word of the model such as mix.Ink.
type Values map[string]any

// New returns a sentence. args are the names of its values, each before its value.
func New(key string, args ...any) Message {
	m := Message{Key: key}
	for i := 0; i+1 < len(args); i += 2 {
		if m.Values == nil {
			m.Values = Values{}
		}
		m.Values[args[i].(string)] = args[i+1]
	}
	return m
}

// Equal reports whether two sentences say the same with the same values.
func (m Message) Equal(o Message) bool { return reflect.DeepEqual(m, o) }
