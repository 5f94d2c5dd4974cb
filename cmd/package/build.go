package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// target is a kind of computer for which there is a package.
type target struct {
	debian string // the name of the architecture in Debian
	goarch string
	env    string // the least processor
}

var targets = []target{
	{"arm64", "arm64", "GOARM64=v8.0"},
	{"armhf", "arm", "GOARM=6"}, // the Pi 1 and the Zero too
	{"amd64", "amd64", "GOAMD64=v1"},
}

// chosenTargets returns the targets of a list of names, all for an empty one.
func chosenTargets(names string) ([]target, error) {
	if names == "" {
		return targets, nil
	}
	var chosen []target
	for name := range strings.SplitSeq(names, ",") {
		found := false
		for _, t := range targets {
			if t.debian == name {
				chosen, found = append(chosen, t), true
			}
		}
		if !found {
			return nil, fmt.Errorf("there is no package for %q; the architectures are arm64, armhf and amd64", name)
		}
	}
	return chosen, nil
}

// environment returns the environment in which Go builds the program for a target, without any
// setting of the person who builds that would change it.
func (t target) environment() []string {
	return append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH="+t.goarch, t.env, "GOFLAGS=-mod=readonly", "GOEXPERIMENT=", "GOWORK=off", "GOFIPS140=off")
}

// build builds the program and returns its path.
func (s source) build(ctx context.Context, t target, scratch string) (string, error) {
	path := filepath.Join(scratch, "potlifed-"+t.debian)
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	c := exec.CommandContext(ctx, "go", "build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w -buildid=", "-o", path, "./cmd/potlifed")
	c.Dir, c.Env, c.Stderr = s.root, t.environment(), os.Stderr
	if err := c.Run(); err != nil {
		return "", fmt.Errorf("go build: %w", err)
	}
	return path, nil
}

// buildForHost returns the path of a program that runs here; it writes its manual page and its
// completions itself.
func (s source) buildForHost(ctx context.Context, scratch string) (string, error) {
	for _, t := range targets {
		if runtime.GOOS == "linux" && t.goarch == runtime.GOARCH {
			return s.build(ctx, t, scratch)
		}
	}
	path := filepath.Join(scratch, "potlifed-host")
	c := exec.CommandContext(ctx, "go", "build", "-o", path, "./cmd/potlifed")
	c.Dir, c.Stderr = s.root, os.Stderr
	return path, c.Run()
}

// written returns what the program writes when it is called.
func written(ctx context.Context, program string, args ...string) ([]byte, error) {
	c := exec.CommandContext(ctx, program, args...)
	c.Stderr = os.Stderr
	out, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("potlifed %s: %w", strings.Join(args, " "), err)
	}
	return out, nil
}
