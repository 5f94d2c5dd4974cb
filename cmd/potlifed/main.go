// Command potlifed follows the pot life of two-component inks at a mixing bench. It reads
// the scale and the air, guides the mix, and shows at the presses how long each batch is
// good for.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

func main() { os.Exit(execute()) }

// execute runs the command that was asked for and returns the exit code. The first signal
// ends the command in good order. It also removes the handler, so that a second signal ends
// the process at once.
func execute() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

// run runs the program with the given arguments and streams, and returns the exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	if err != nil {
		fmt.Fprintln(errs, failure(err, toJournal(errs)))
	}
	return exitCode(err)
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "potlifed COMMAND",
		Short: "Guide the mixing of two-component ink and follow each batch's pot life",
		Long: "potlifed reads a bench scale and temperature and humidity sensors, guides the mixing of\n" +
			"two-component ink, and computes the remaining pot life of every open batch. It publishes\n" +
			"over MQTT, HTTP and Prometheus. It only advises. Where the ink maker's data sheet, local\n" +
			"codes or a licensed professional say otherwise, follow them.",
		Version:       longVersion(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return c.Help()
			}
			if near := c.SuggestionsFor(args[0]); len(near) > 0 {
				return usage("there is no command %q; did you mean %s?", args[0], near[0])
			}
			return usage("there is no command %q; see potlifed --help", args[0])
		},
	}
	root.SetFlagErrorFunc(flagFault)
	root.SuggestionsMinimumDistance = 2
	// The template has a second line "potlifed [command]", which the first one says already.
	const second = "{{if .HasAvailableSubCommands}}\n  {{.CommandPath}} [command]{{end}}"
	root.SetUsageTemplate(strings.Replace(root.UsageTemplate(), second, strings.Replace(second, ".HasAvailableSubCommands", "and .HasAvailableSubCommands .HasParent", 1), 1))
	root.AddCommand(runCommand(), demoCommand(), checkCommand(), portsCommand(), listenCommand(), airCommand(), mixCommand(),
		lifeCommand(), jarsCommand(), planCommand(), learnCommand(), studyCommand(), reportCommand(), exportCommand(), importCommand(), verifyCommand(), backupCommand(), restoreCommand(), plantCommand(), pinCommand(), tokenCommand(), manualCommand(), computeCommand())
	return root
}
