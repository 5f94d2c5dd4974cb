// Command package builds the Debian packages of potlifed, for arm64, armhf (ARMv6) and amd64.
// It needs Go and no root. The same commit gives the same bytes: times in a package are
// SOURCE_DATE_EPOCH or, without it, the time of the commit.
//
//	go -C cmd/package run . --out DIR
//
// It is a module of its own: nfpm needs 38 modules that potlifed does not.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	out := flag.String("out", "", "directory for the packages; is made if there is none")
	archs := flag.String("arch", "", "architectures of Debian, separated by commas; default: all of them")
	flag.Parse()
	if *out == "" || flag.NArg() > 0 {
		fmt.Fprintln(os.Stderr, "package: --out DIR is missing, or is not all that was given")
		os.Exit(2)
	}
	if err := run(ctx, *out, *archs); err != nil {
		fmt.Fprintln(os.Stderr, "package:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, out, archs string) error {
	chosen, err := chosenTargets(archs)
	if err != nil {
		return err
	}
	src, err := openSource(ctx)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	scratch, err := os.MkdirTemp("", "potlifed-package-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	host, err := src.buildForHost(ctx, scratch)
	if err != nil {
		return err
	}
	for _, t := range chosen {
		file := filepath.Join(out, src.fileName(t))
		if err := src.writePackage(ctx, t, host, scratch, file); err != nil {
			return fmt.Errorf("%s: %w", t.debian, err)
		}
		fmt.Println(file)
	}
	return nil
}

// source is the tree that is packaged.
type source struct {
	root    string // of potlifed's module
	version string
	time    time.Time // of everything in a package
}

// openSource returns the tree around this command.
func openSource(ctx context.Context) (source, error) {
	here, err := os.Getwd()
	if err != nil {
		return source{}, err
	}
	s := source{root: filepath.Dir(filepath.Dir(here))}
	text, err := os.ReadFile(filepath.Join(s.root, "cmd", "potlifed", "VERSION"))
	if err != nil {
		return source{}, fmt.Errorf("%w; run this command in its own directory: go -C cmd/package run . --out DIR", err)
	}
	s.version = strings.TrimSpace(string(text))
	s.time, err = s.commitTime(ctx)
	return s, err
}

// commitTime returns SOURCE_DATE_EPOCH or the time of the commit.
func (s source) commitTime(ctx context.Context) (time.Time, error) {
	seconds := os.Getenv("SOURCE_DATE_EPOCH")
	if seconds == "" {
		git := exec.CommandContext(ctx, "git", "-c", "safe.directory=*", "log", "-1", "--format=%ct")
		git.Dir = s.root
		out, err := git.Output()
		if err != nil {
			return time.Time{}, fmt.Errorf("the time of the commit is not known: git log: %w; set SOURCE_DATE_EPOCH", err)
		}
		seconds = strings.TrimSpace(string(out))
	}
	n, err := strconv.ParseInt(seconds, 10, 64)
	if err != nil {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH: %w", err)
	}
	return time.Unix(n, 0).UTC(), nil
}
