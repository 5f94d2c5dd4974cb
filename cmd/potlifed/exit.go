package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
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

// codedError ends the program with an exit code of its own.
type codedError struct {
	error
	code int
}

// exitCode is what the program ends with for an error of a command, nil included.
func exitCode(err error) int {
	var wrong usageError
	var coded codedError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &coded):
		return coded.code
	case errors.As(err, &wrong):
		return exitUsage
	}
	return exitFault
}

// flagFault says in plain words what is wrong with a flag; for cobra's SetFlagErrorFunc.
func flagFault(c *cobra.Command, err error) error {
	command := ""
	if c.Name() != "potlifed" {
		command = c.Name() + ": "
	}
	var value *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var missing *pflag.ValueRequiredError
	switch {
	case errors.As(err, &value):
		flag := value.GetFlag()
		return usage("%s--%s %q: want %s", command, flag.Name, value.GetValue(), wanted(flag.Value.Type()))
	case errors.As(err, &unknown):
		name := "--" + unknown.GetSpecifiedName()
		if unknown.GetSpecifiedShortnames() != "" {
			name = "-" + unknown.GetSpecifiedName()
		}
		return usage("%sthere is no flag %s; see %s --help", command, name, c.CommandPath())
	case errors.As(err, &missing):
		return usage("%s--%s needs a value, %s", command, missing.GetFlag().Name, wanted(missing.GetFlag().Value.Type()))
	}
	return usage("%s%w", command, err)
}

// wanted says what a flag of a type takes.
func wanted(flagType string) string {
	switch flagType {
	case "float64":
		return "a number, with a point for decimals"
	case "int":
		return "a whole number"
	case "uint64":
		return "a whole number from 0 on"
	case "duration":
		return "a duration with its unit, such as 90s, 25m or 5h30m"
	case "bool":
		return "true or false"
	}
	return "a text"
}

// noArguments refuses what follows a command that takes only flags.
func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usage("%s: %q is not understood; the command takes only flags, see %s --help", c.Name(), args[0], c.CommandPath())
	}
	return nil
}
