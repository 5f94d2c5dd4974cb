package main

import (
	"errors"
	"io"
	"os"

	"github.com/spf13/cobra"

	"potlifed/daemon/backup"
)

// What restore can do with the journal's id and with the access file.
const (
	keep  = "keep"
	renew = "renew"
	drop  = "drop"
)

func restoreCommand() *cobra.Command {
	var file, journal, access string
	var asJSON bool
	c := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup into an empty data directory",
		Long: `restore puts a backup into the data_dir of the configuration, which must be empty: move an
old one aside first. It checks the backup, brings it to the layout of this version, and loads
it as a start does. Run it as the service's user, while the service is stopped.

--journal renew, the default, gives the journal a new id, so that programs that read events
start afresh: what they read after the backup was made is not in it. When a bench moves to
another computer and nothing happened since the backup, --journal keep lets them read on.

--access keep, the default, restores the PIN, the tokens and the paired devices. With
--access drop nobody may change anything from elsewhere until a PIN is set again.`,
		Example: `  sudo systemctl stop potlifed
  sudo -u potlifed potlifed restore /media/stick/bench-1.backup
  sudo systemctl start potlifed`,
		Args: oneFile,
		RunE: func(c *cobra.Command, args []string) error {
			if journal != keep && journal != renew {
				return usage("restore: --journal %q; want renew or keep", journal)
			}
			if access != keep && access != drop {
				return usage("restore: --access %q; want keep or drop", access)
			}
			shop, err := readShop(file)
			if err != nil {
				return err
			}
			var in io.Reader = c.InOrStdin()
			if args[0] != "-" {
				f, err := os.Open(args[0])
				if err != nil {
					return usage("restore: %w", err)
				}
				defer f.Close()
				in = f
			}
			contents, err := backup.Restore(c.Context(), shop.DataDir, in, backup.Options{NewJournal: journal == renew, NoAccess: access == drop})
			var wrong *backup.FormatError
			if errors.As(err, &wrong) || errors.Is(err, backup.ErrNotEmpty) {
				return usageError{err}
			}
			if err != nil {
				return err
			}
			return tellContents(c.OutOrStdout(), "restored the backup of", contents, asJSON)
		},
	}
	f := c.Flags()
	configFlag(f, &file)
	f.StringVar(&journal, "journal", renew, "the journal's id: renew or keep")
	f.StringVar(&access, "access", keep, "PIN, tokens and paired devices: keep or drop")
	f.BoolVar(&asJSON, "json", false, "print one JSON object about the backup")
	return c
}
