package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/backup"
	"potlifed/daemon/whole"
)

func backupCommand() *cobra.Command {
	var file string
	var asJSON bool
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write everything that the bench has stored into one file",
		Long: `backup writes the journal, the history, and who may change something (the PIN, tokens and
paired devices, as hashes) into one file. It only reads, and may run while the service does.
The configuration is not in it. The file is read again and checked before it gets its name;
an older file of that name is replaced. With - as FILE the backup goes to standard output.

It needs room beside FILE for a copy of the data. Who has the file can read what people did
at the bench, so it is readable for its owner only.`,
		Example: `  potlifed backup /media/stick/bench-1.backup
  sudo -u potlifed potlifed backup - | ssh nas 'cat > bench-1.backup'`,
		Args: oneFile,
		RunE: func(c *cobra.Command, args []string) error {
			shop, err := readShop(file)
			if err != nil {
				return err
			}
			contents := backup.Contents{Bench: shop.Bench, Version: version(), Made: time.Now().UTC().Truncate(time.Second)}
			if args[0] == "-" {
				_, err := writeBackup(c.Context(), shop.DataDir, os.TempDir(), contents, c.OutOrStdout())
				return err
			}
			if contents, err = backupTo(c.Context(), shop.DataDir, args[0], contents); err != nil {
				return err
			}
			return tellContents(c.OutOrStdout(), "backup of", contents, asJSON)
		},
	}
	configFlag(c.Flags(), &file)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object about the backup")
	return c
}

// oneFile checks that a command got the name of one file.
func oneFile(c *cobra.Command, args []string) error {
	if len(args) != 1 || args[0] == "" {
		return usage("%s: name one file; see %s --help", c.Name(), c.CommandPath())
	}
	return nil
}

// writeBackup writes a backup to out. It makes its copies in a new directory inside scratch.
func writeBackup(ctx context.Context, dataDir, scratch string, c backup.Contents, out io.Writer) (_ backup.Contents, err error) {
	own, err := os.MkdirTemp(scratch, ".potlifed-backup-*")
	if err != nil {
		return c, fmt.Errorf("backup: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(own)) }()
	c, err = backup.Write(ctx, dataDir, own, c, out)
	if err != nil {
		return c, dataFault("backup", dataDir, err)
	}
	return c, nil
}

// backupTo writes a backup to a file, which gets its name when it is complete and on disk.
func backupTo(ctx context.Context, dataDir, path string, c backup.Contents) (_ backup.Contents, err error) {
	folder := filepath.Dir(path)
	out, err := whole.Create(path, whole.Private)
	if err != nil {
		return c, unwritable(folder, err)
	}
	defer func() { err = errors.Join(err, out.Discard()) }()
	if c, err = writeBackup(ctx, dataDir, folder, c, out); err != nil {
		return c, err
	}
	if err := backup.Check(io.NewSectionReader(out, 0, math.MaxInt64)); err != nil {
		return c, fmt.Errorf("backup: the file that was written: %w", err)
	}
	if err := out.Complete(); err != nil {
		return c, fmt.Errorf("backup: %w", err)
	}
	return c, nil
}

// unwritable says of the folder of a backup what to do where no file can be made in it.
func unwritable(folder string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("backup: there is no folder %s; make it, or plug the disk in and mount it, or name another file", folder)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("backup: this user may not write into %s; name a file in a folder where they may, or run the command as one who may", folder)
	}
	return fmt.Errorf("backup: no file can be made in %s: %w", folder, err)
}

// tellContents prints what a backup holds.
func tellContents(out io.Writer, what string, c backup.Contents, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(c)
	}
	_, err := fmt.Fprintf(out, "%s %s, %s: events up to %d, journal %s\n", what, c.Bench, c.Made.Local().Format("2006-01-02 15:04:05"), c.Seq, c.Journal)
	for _, f := range c.Files {
		if err == nil {
			_, err = fmt.Fprintf(out, "  %-16s %d bytes\n", f.Name, f.Bytes)
		}
	}
	return err
}
