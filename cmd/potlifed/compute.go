package main

import (
	"errors"

	"github.com/spf13/cobra"

	"potlifed/daemon/report"
	"potlifed/daemon/worker"
)

// computing is how the service starts this program to make a study or a report. The link is that of the program
// that runs, also after an upgrade has replaced its file.
var computing = []string{"/proc/self/exe", "compute"}

func computeCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "compute",
		Short:  "Make one study or report for the service, which starts this command",
		Hidden: true,
		Args:   noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			err := worker.Do(c.Context(), c.InOrStdin(), c.OutOrStdout())
			if errors.Is(err, report.ErrNoLot) {
				return codedError{err, worker.ExitNoLot}
			}
			return err
		},
	}
}
