package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

// The exit codes of every command.
const (
	exitDone  = 0
	exitFault = 1 // it could not be done
	exitUsage = 2 // the request or the configuration is wrong
)

// usageError marks an error as the request's own: asked again in the same words it fails again.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// usage makes such an error; %w works as in fmt.Errorf.
func usage(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// exitCode is what the program ends with for an error of a command, nil included.
func exitCode(err error) int {
	var wrong usageError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &wrong):
		return exitUsage
	}
	return exitFault
}

// flagFault makes what cobra says of a wrong flag a usage error; for cobra's SetFlagErrorFunc.
func flagFault(c *cobra.Command, err error) error { return usage("%s: %w", c.Name(), err) }

// noArguments refuses what follows a command that takes only flags.
func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usage("%s: %q is not understood; it takes only flags, see --help", c.Name(), args[0])
	}
	return nil
}
