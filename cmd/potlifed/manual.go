package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// manualCommand writes the manual page. It is hidden: only the package's builder needs it.
func manualCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "manual",
		Short:  "Write the manual page, potlifed(1)",
		Hidden: true,
		Args:   noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			return writeManual(c.OutOrStdout(), c.Root())
		},
	}
}

// writeManual writes the manual page of a command and all its subcommands, in the language of
// man(7).
func writeManual(to io.Writer, root *cobra.Command) error {
	var p page
	p.line(".TH POTLIFED 1 \"\" %s \"User commands\"", roffArgument("potlifed "+version()))
	p.line(".SH NAME")
	p.text("potlifed \\- " + escaped(strings.ToLower(root.Short[:1])+root.Short[1:]))
	p.line(".SH SYNOPSIS")
	p.line(".B potlifed\n.I COMMAND\n.RI [ FLAGS ]")
	p.line(".SH DESCRIPTION")
	p.paragraphs(root.Long)
	p.line(".SH COMMANDS")
	for _, c := range root.Commands() {
		p.command(c)
	}
	p.line(".SH EXIT STATUS")
	p.term(fmt.Sprint(exitDone), "It is done.")
	p.term(fmt.Sprint(exitFault), "It could not be done.")
	p.term(fmt.Sprint(exitUsage), "The request or the configuration is wrong.")
	p.line(".SH FILES")
	p.term(usualConfiguration, "The configuration. /usr/share/doc/potlifed/examples/potlifed.example.yaml explains every key.")
	p.term("/var/lib/potlifed", "The journal, the history and the access file, unless the configuration names another data_dir.")
	p.line(".SH SEE ALSO")
	p.text("The service shows its reference at /reference, at the address of its page.")
	_, err := io.WriteString(to, p.String())
	return err
}

// page is a manual page that is being written.
type page struct{ strings.Builder }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// text writes text that is escaped already.
func (p *page) text(s string) { p.line("%s", s) }

// term writes a term with its explanation.
func (p *page) term(term, meaning string) {
	p.line(".TP\n.B %s", escaped(term))
	p.text(escaped(meaning))
}

// paragraphs writes running text. Lines that are indented, such as examples, stay as they are.
func (p *page) paragraphs(s string) {
	for i, block := range strings.Split(strings.TrimSpace(s), "\n\n") {
		if i > 0 {
			p.line(".PP")
		}
		if strings.HasPrefix(block, " ") {
			p.verbatim(block)
			continue
		}
		p.text(escaped(block))
	}
}

func (p *page) verbatim(s string) {
	p.line(".RS 4\n.nf\n%s\n.fi\n.RE", escaped(s))
}

// command writes a command, its flags and its example, and then its subcommands.
func (p *page) command(c *cobra.Command) {
	if c.Hidden || !c.IsAvailableCommand() {
		return
	}
	p.line(".SS %s", roffArgument(strings.TrimPrefix(c.UseLine(), "potlifed ")))
	if c.Long != "" {
		p.paragraphs(c.Long)
	} else {
		p.text(escaped(c.Short + "."))
	}
	c.LocalFlags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			p.flag(f)
		}
	})
	if c.Example != "" {
		p.line(".PP\nExamples:")
		p.verbatim(c.Example)
	}
	for _, sub := range c.Commands() {
		p.command(sub)
	}
}

func (p *page) flag(f *pflag.Flag) {
	kind, usage := pflag.UnquoteUsage(f)
	name := "\\-\\-" + escaped(f.Name)
	if f.Shorthand != "" {
		name = "\\-" + escaped(f.Shorthand) + ", " + name
	}
	if kind != "" {
		name += " " + escaped(kind)
	}
	if f.DefValue != "" && f.DefValue != "false" && f.DefValue != "0" && f.DefValue != "0s" && f.DefValue != "[]" {
		usage += " (" + f.DefValue + ")"
	}
	p.line(".TP\n.B %s\n%s", name, escaped(usage))
}

// escaped returns text for the body of a page: man(7) reads a backslash as the begin of an
// escape, a point or an apostrophe at the begin of a line as a request, and a plain hyphen as one
// that cannot be copied.
func escaped(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}

// roffArgument returns text as one argument of a request.
func roffArgument(s string) string { return `"` + strings.ReplaceAll(escaped(s), `"`, `\(dq`) + `"` }
