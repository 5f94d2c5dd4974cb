package main

import (
	"errors"
	"io"
	"os"

	"potlifed/daemon/paper"
)

// readFrom opens the file of a command's flag, or standard input for "-", and reads it. What
// is wrong in the file is a usage error.
func readFrom[T any](command, name, flag string, stdin io.Reader, read func(string, io.Reader) (T, error)) (T, error) {
	if name == "-" {
		all, err := read("standard input", stdin)
		return all, paperFault(err)
	}
	file, err := os.Open(name)
	if err != nil {
		var nothing T
		return nothing, usage("%s: %s: %w", command, flag, err)
	}
	defer file.Close()
	all, err := read(name, file)
	return all, paperFault(err)
}

// paperFault marks what is wrong in a file as a usage error.
func paperFault(err error) error {
	var wrong *paper.FormatError
	if errors.As(err, &wrong) {
		return usageError{err}
	}
	return err
}
