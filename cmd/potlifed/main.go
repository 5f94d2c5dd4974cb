// Command potlifed follows the pot life of two-component inks at a mixing bench: it
// reads the scale and the air, guides the mix, and tells the presses how long each
// batch is good for.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"github.com/spf13/cobra"
)

func main() { os.Exit(execute()) }

// execute runs the command that was asked for. The first signal ends it in good order;
// a second one, as the handler is then gone, ends it at once.
func execute() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

// run is the program as a value: tests call it.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	if err != nil {
		fmt.Fprintln(errs, "potlifed:", err)
	}
	return exitCode(err)
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "potlifed COMMAND",
		Short: "Guides the mixing of two-component ink and follows each batch's pot life",
		Long: "potlifed reads a bench scale and temperature/humidity sensors, guides the mix, follows the\n" +
			"remaining pot life of every open batch, and publishes readings and alarms over MQTT and\n" +
			"Prometheus. It advises; the ink maker's data sheet, local codes and licensed practice decide.",
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("there is no command %q; see potlifed --help", args[0])
			}
			return c.Help()
		},
	}
	root.SetFlagErrorFunc(flagFault)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(runCommand(), demoCommand(), checkCommand(), listenCommand(), airCommand(), mixCommand(), lifeCommand(), planCommand(), learnCommand(), pinCommand(), tokenCommand())
	return root
}

// version is what the build was stamped with: a tag, or the revision it was made from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	return info.Main.Version
}
