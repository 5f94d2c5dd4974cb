package main

import (
	_ "embed"
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
)

// released is the file that holds the version. The package's builder reads it too, and
// CHANGELOG.md begins with it.
//
//go:embed VERSION
var released string

// version returns the version of the program, such as 0.1.0.
func version() string { return strings.TrimSpace(released) }

// longVersion returns the version with what the program was built from and for: the revision
// if the build was stamped with one, Go's version and the platform.
func longVersion() string {
	parts := []string{runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				parts = append([]string{"revision " + s.Value}, parts...)
			}
		}
	}
	return fmt.Sprintf("%s (%s)", version(), strings.Join(parts, ", "))
}
