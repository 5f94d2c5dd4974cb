package words

import (
	"strings"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/light"
	"potlifed/model/message"
	"potlifed/model/mix"
)

// Refusal returns the sentence in which a change is refused.
func (l Locale) Refusal(m message.Message) string {
	return l.Say("refusal."+m.Key, l.values(m.Values)...)
}

// StepRefusal returns the sentence in which a step of the guided mix is refused.
func (l Locale) StepRefusal(m message.Message) string {
	return l.Say("step-refusal."+m.Key, l.values(m.Values)...)
}

// Warning returns the sentence of a warning; empty for one without a key.
func (l Locale) Warning(m message.Message) string {
	if m.Key == "" {
		return ""
	}
	return l.Say("warning."+m.Key, l.values(m.Values)...)
}

// RefusalOf returns the sentence for a change that was refused, where its kind is all that is
// known.
func (l Locale) RefusalOf(kind request.RefusalKind) string {
	return l.Say("refusal-kind." + strings.ReplaceAll(string(kind), " ", "-"))
}

// Warnings returns the sentences of warnings about a mix; never nil.
func (l Locale) Warnings(all []message.Message) []string {
	said := make([]string, 0, len(all))
	for _, m := range all {
		said = append(said, l.Warning(m))
	}
	return said
}

// CanNotes returns the sentences of notes about cans that were used though they should not have
// been, as [record.PouredFrom.Note] gives them.
func (l Locale) CanNotes(all []message.Message) []string {
	var said []string
	for _, m := range all {
		values := l.values(m.Values)
		can := l.Say("can-note.can", values...)
		if m.Values["lot"] != "" {
			can = l.Say("can-note.can-lot", values...)
		}
		note := l.Say("can-note."+m.Key, append(values, "can", can)...)
		if m.Values["why"] != "" {
			note = l.Say("can-note.used-anyway", "note", note, "why", m.Values["why"])
		}
		said = append(said, note)
	}
	return said
}

// Parameters returns the names of an ink's parameters as the model gives them, such as "humidity
// share", in the language.
func (l Locale) Parameters(names []string) []string {
	said := make([]string, 0, len(names))
	for _, name := range names {
		said = append(said, l.Say("assumes."+strings.ReplaceAll(name, " ", "-")))
	}
	return said
}

// StillAssumed says which of an ink's parameters are not learned yet.
func (l Locale) StillAssumed(names []string) string {
	return l.Say("assumes.still", "parameters", strings.Join(l.Parameters(names), ", "))
}

// LightReason returns why a press's light has its meaning, why its batch is used out of ratio where it is, and for
// which alarm it flashes. press may be empty where the cause is not about a press.
func (l Locale) LightReason(s light.Signal, press string) string {
	key := "reason." + string(s.Cause)
	if s.Mix != "" {
		key = "reason-mix." + string(s.Cause)
	}
	if s.Past {
		key += "-past"
	}
	if s.Failed {
		key += "-failed"
	}
	if s.Doubtful != "" {
		key += "-sensor"
	}
	why := l.Say(key, "mix", s.Mix, "press", press, "sensor", s.Doubtful)
	if s.MixInk != "" {
		why += " " + l.Say("reason.other-ink", "ink", s.MixInk)
	}
	if s.RatioReason != "" {
		why += " " + l.Say("reason.out-of-ratio", "why", strings.TrimRight(s.RatioReason, ". "))
	}
	if s.Alarm != "" {
		why += " " + l.Say("reason.flashes-for", "alarm", l.Alarm(s.Alarm).Title)
	}
	return why
}

// values returns the values of a sentence as they are written, each after its name.
func (l Locale) values(values message.Values) []any {
	out := make([]any, 0, 2*len(values))
	for name, v := range values {
		out = append(out, name, l.value(name, v))
	}
	return out
}

// value writes a value by its type and the unit in its name.
func (l Locale) value(name string, v any) any {
	if name == "n" {
		return v // it chooses the plural
	}
	decimals, figure := 0, 0.0
	switch v := v.(type) {
	case float64:
		decimals, figure = 1, v
	case int:
		figure = float64(v)
	case time.Duration:
		return l.Duration(v)
	case mix.Part:
		return l.Say("part." + string(v))
	case guide.Step:
		return l.Say("step." + string(v))
	case []string:
		return strings.Join(v, ", ")
	case string:
		if day, err := time.Parse(time.DateOnly, v); err == nil && strings.HasSuffix(name, "_on") {
			return Locale{Language: l.Language, Zone: time.UTC}.Day(day) // a day has no zone
		}
		return v
	default:
		return v
	}
	switch {
	case strings.HasSuffix(name, "_g"):
		return l.Say("unit.grams", "value", l.Number(figure, decimals))
	case strings.HasSuffix(name, "_pct"):
		return l.Percent(figure, decimals)
	case strings.HasSuffix(name, "_c"):
		return l.ShortTemperature(figure)
	}
	return v
}
