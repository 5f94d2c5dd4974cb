package bench

import (
	"context"
	"log/slog"
	"strings"

	"potlifed/daemon/record"
)

// levelNotice is the level of what a shop wants to find again: between what is usual and a fault
// of the service.
const levelNotice = slog.LevelInfo + 2

// logWritten logs the events of a group that is on disk: one line for each start and stop, mix,
// batch and alarm. What comes more often, such as pours and prints, is in the journal only; of
// pairings the web server logs more.
func (b *Bench) logWritten(records []record.Record) {
	for _, r := range records {
		if text, args := logged(r.Body); text != "" {
			args = append(args, "seq", r.Seq)
			if r.By != "" {
				args = append(args, "by", r.By)
			}
			b.log.Log(context.Background(), levelNotice, text, args...)
		}
	}
}

// logged returns the line for an event; an empty text for one without a line.
func logged(body record.Body) (text string, args []any) {
	switch e := body.(type) {
	case record.Started:
		return "started", []any{"version", e.Version, "instance", e.Instance}
	case record.Stopped:
		return "stopped", nil
	case record.ClockChanged:
		return "clock changed", []any{"step", e.Step, "set", e.Synced}
	case record.ConfigurationRead:
		return "configuration reloaded", []any{"changes", strings.Join(e.Changes, "; ")}
	case record.OutOfService:
		return "out of service", []any{"device", e.Device, "until", e.Until, "reason", e.Reason}
	case record.InService:
		return "in service again", []any{"device", e.Device}
	}
	if text, args := loggedBatch(body); text != "" {
		return text, args
	}
	return loggedAlarm(body)
}

// loggedBatch returns the line for an event in the life of a batch.
func loggedBatch(body record.Body) (string, []any) {
	batch := []any{"batch", body.About()}
	switch e := body.(type) {
	case record.MixStarted:
		return "mix started", append(batch, "ink", e.Ink, "scale", e.Scale)
	case record.HardenerBegun:
		return "pot life begins", append(batch, "mixed_at", e.MixedAt)
	case record.Abandoned:
		return "mix abandoned", append(batch, "ink", e.Ink)
	case record.Recorded:
		return "batch recorded", append(batch, "ink", e.Ink, "mixed_at", e.MixedAt)
	case record.Loaded:
		return "batch loaded", append(batch, "press", e.Press)
	case record.Unloaded:
		return "batch unloaded", append(batch, "press", e.Press)
	case record.Split:
		return "batch split", []any{"batch", e.Batch, "from", e.From}
	case record.ToppedUp:
		return "batch topped up", []any{"batch", e.Batch, "from", e.From}
	case record.Closed:
		return "batch closed", append(batch, "ink", e.Ink, "outcome", e.Outcome, "press", e.Press)
	case record.Undone:
		return "event undone", []any{"undoes", e.Undoes}
	}
	return "", nil
}

// loggedAlarm returns the line for an event of an alarm.
func loggedAlarm(body record.Body) (string, []any) {
	alarm := func(text, name, subject string, more ...any) (string, []any) {
		return text, append([]any{"alarm", name, "subject", subject}, more...)
	}
	switch e := body.(type) {
	case record.AlarmRaised:
		return alarm("alarm raised", e.Name, e.Subject, "priority", e.Priority, "text", e.Text)
	case record.AlarmReturned:
		return alarm("alarm returned", e.Name, e.Subject)
	case record.AlarmCleared:
		return alarm("alarm cleared", e.Name, e.Subject)
	case record.AlarmAcknowledged:
		return alarm("alarm acknowledged", e.Name, e.Subject)
	case record.AlarmShelved:
		return alarm("alarm shelved", e.Name, e.Subject, "until", e.Until, "reason", e.Reason)
	}
	return "", nil
}
