package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"potlifed/daemon/access"
)

func pinCommand() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "pin",
		Short: "Set the shop's PIN, with which devices are paired",
		Long: `pin sets the shop's PIN: six digits or more. On a terminal it is asked for twice and not
shown; otherwise it is the first line of standard input.

Once a PIN is set every change needs a paired device or an access token, on the bench's
own computer too. A device is paired on the page, where the PIN is asked for with the
first change, and stays paired for 30 days. A new PIN unpairs all devices. The service
need not be restarted.`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := accessOf(file)
			if err != nil {
				return err
			}
			paired, err := store.Sessions(time.Now())
			if err != nil {
				return accessFault("pin", err)
			}
			pin, err := askPIN(c.Context(), c.InOrStdin(), c.ErrOrStderr())
			if err != nil {
				return err
			}
			if err := store.SetPIN(pin); err != nil {
				return accessFault("pin", err)
			}
			fmt.Fprintln(c.OutOrStdout(), "the PIN is set")
			if len(paired) > 0 {
				fmt.Fprintf(c.OutOrStdout(), "%d paired devices must be paired again\n", len(paired))
			}
			return nil
		},
	}
	configFlag(c.Flags(), &file)
	return c
}

// accessOf opens the store of the configuration's data directory.
func accessOf(file string) (*access.Store, error) {
	shop, err := readShop(file)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(shop.DataDir); err != nil {
		return nil, fmt.Errorf("data_dir: %w; start the service once, or make the folder and give it to the service's user", err)
	}
	return access.Open(shop.DataDir), nil
}

// accessFault tells what the file is to blame for from what was asked for.
func accessFault(command string, err error) error {
	var file *access.FileError
	switch {
	case errors.As(err, &file) && errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w; run this as the service's user, or with sudo", err)
	case errors.As(err, &file):
		return err
	}
	return usage("%s: %w", command, err)
}

// askPIN reads the PIN from a terminal, or else the first line of the input.
func askPIN(ctx context.Context, in io.Reader, prompts io.Writer) (string, error) {
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return askTwice(ctx, int(f.Fd()), prompts)
	}
	line, err := bufio.NewReader(io.LimitReader(in, 1024)).ReadString('\n')
	if err != nil && err != io.EOF {
		return "", fmt.Errorf("read the PIN: %w", err)
	}
	if line = strings.TrimSpace(line); line == "" {
		return "", usage("pin: standard input has no PIN in its first line")
	}
	return line, nil
}

func askTwice(ctx context.Context, terminal int, prompts io.Writer) (string, error) {
	first, err := hidden(ctx, terminal, prompts, "New PIN: ")
	if err != nil {
		return "", err
	}
	second, err := hidden(ctx, terminal, prompts, "Once more: ")
	if err != nil {
		return "", err
	}
	if first != second {
		return "", usage("pin: the two are not the same; nothing was changed")
	}
	return first, nil
}

// hidden reads a line without echo. When the program is to end, the terminal is given
// back as it was; the read itself ends with the process.
func hidden(ctx context.Context, terminal int, prompts io.Writer, prompt string) (string, error) {
	before, err := term.GetState(terminal)
	if err != nil {
		return "", fmt.Errorf("read the PIN: %w", err)
	}
	type typed struct {
		line []byte
		err  error
	}
	read := make(chan typed, 1)
	fmt.Fprint(prompts, prompt)
	go func() {
		line, err := term.ReadPassword(terminal)
		read <- typed{line, err}
	}()
	select {
	case t := <-read:
		fmt.Fprintln(prompts)
		if t.err != nil {
			return "", fmt.Errorf("read the PIN: %w", t.err)
		}
		return strings.TrimSpace(string(t.line)), nil
	case <-ctx.Done():
		fmt.Fprintln(prompts)
		return "", errors.Join(ctx.Err(), term.Restore(terminal, before))
	}
}
