package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/coreos/go-systemd/v22/journal"
	"github.com/spf13/pflag"
)

// logFlags are the flags by which the log of a command is chosen.
type logFlags struct{ format, level string }

func (l *logFlags) add(f *pflag.FlagSet) {
	f.StringVar(&l.format, "log-format", "text", "format of the log: text or json")
	f.StringVar(&l.level, "log-level", "info", "what is logged: debug, info, notice, warn or error, each with what is graver")
}

// levelNotice is between what is usual and a fault: what a shop wants to find again, such as
// batches and alarms.
const levelNotice = slog.LevelInfo + 2

var levels = map[string]slog.Level{
	"debug": slog.LevelDebug, "info": slog.LevelInfo, "notice": levelNotice, "warn": slog.LevelWarn, "error": slog.LevelError,
}

// logger returns the log that was chosen, written to out. Where out is systemd's journal, each
// line begins with its priority, and leaves out the time that the journal adds itself.
func (l logFlags) logger(command string, out io.Writer) (*slog.Logger, error) {
	level, known := levels[l.level]
	if !known {
		return nil, usage("%s: --log-level %q; want debug, info, notice, warn or error", command, l.level)
	}
	if l.format != "text" && l.format != "json" {
		return nil, usage("%s: --log-format %q; want text or json", command, l.format)
	}
	return slog.New(newLogHandler(out, l.format, level, toJournal(out))), nil
}

// toJournal reports whether out is systemd's journal.
func toJournal(out io.Writer) bool {
	if out != os.Stderr {
		return false
	}
	is, err := journal.StderrIsJournalStream()
	return err == nil && is
}

// priorities are what systemd's journal calls the levels, the gravest first; what is below the
// last is 7.
var priorities = []struct {
	from     slog.Level
	priority int
}{{slog.LevelError, 3}, {slog.LevelWarn, 4}, {levelNotice, 5}, {slog.LevelInfo, 6}}

// leastPriority is the priority of debugging.
const leastPriority = 7

func priorityOf(level slog.Level) int {
	for _, p := range priorities {
		if level >= p.from {
			return p.priority
		}
	}
	return leastPriority
}

// newLogHandler returns a handler that writes lines, with a priority for the journal or without.
func newLogHandler(out io.Writer, format string, level slog.Level, prioritised bool) slog.Handler {
	made := func(out io.Writer) slog.Handler {
		options := &slog.HandlerOptions{Level: level, ReplaceAttr: func(groups []string, a slog.Attr) slog.Attr {
			switch {
			case len(groups) > 0:
			case a.Key == slog.TimeKey && prioritised:
				return slog.Attr{}
			case a.Key == slog.LevelKey && a.Value.Any() == levelNotice:
				return slog.String(slog.LevelKey, "NOTICE")
			}
			return a
		}}
		if format == "json" {
			return slog.NewJSONHandler(out, options)
		}
		return slog.NewTextHandler(out, options)
	}
	if !prioritised {
		return made(out)
	}
	h := byPriority{}
	for p := range h {
		h[p] = made(prefixed{out, fmt.Sprintf("<%d>", p)})
	}
	return h
}

// byPriority has a handler for each priority.
type byPriority [leastPriority + 1]slog.Handler

var _ slog.Handler = byPriority{}

// Enabled reports whether records of a level are logged.
func (h byPriority) Enabled(ctx context.Context, level slog.Level) bool {
	return h[priorityOf(level)].Enabled(ctx, level)
}

// Handle writes the record with its priority. It returns the error of writing.
func (h byPriority) Handle(ctx context.Context, r slog.Record) error {
	return h[priorityOf(r.Level)].Handle(ctx, r)
}

// WithAttrs returns a handler that adds attributes to each record.
func (h byPriority) WithAttrs(attrs []slog.Attr) slog.Handler {
	for p := range h {
		h[p] = h[p].WithAttrs(attrs)
	}
	return h
}

// WithGroup returns a handler that puts the attributes of each record into a group.
func (h byPriority) WithGroup(name string) slog.Handler {
	for p := range h {
		h[p] = h[p].WithGroup(name)
	}
	return h
}

// prefixed writes a prefix before each write, which is one line.
type prefixed struct {
	out    io.Writer
	prefix string
}

// Write writes the prefix and the line at once. It returns the length of the line, and the error
// of writing.
func (w prefixed) Write(line []byte) (int, error) {
	if _, err := io.WriteString(w.out, w.prefix+string(line)); err != nil {
		return 0, err
	}
	return len(line), nil
}

// failure returns the line about the error with which a command ends. In systemd's journal it is
// an error in each of its lines.
func failure(err error, prioritised bool) string {
	text := "potlifed: " + err.Error()
	if prioritised {
		prefix := fmt.Sprintf("<%d>", priorityOf(slog.LevelError))
		text = prefix + strings.ReplaceAll(text, "\n", "\n"+prefix)
	}
	return text
}
