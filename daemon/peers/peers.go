// Package peers finds the programs and files of other projects that some tests need: real
// brokers, browsers and tools. A test without its peer is skipped with a text that names it.
// With POTLIFED_PEERS=require in the environment it fails instead, so that a machine that
// should have every peer cannot skip one unnoticed.
//
// Only tests import this package.
package peers

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

const (
	variable = "POTLIFED_PEERS"
	require  = "require"
)

// serverFolder is where Debian installs servers. It may be missing in a user's PATH.
const serverFolder = "/usr/sbin/"

// Program returns the path of a program that the test needs, the first one found of several
// names. Where none is installed it skips the test, or fails it with POTLIFED_PEERS=require.
func Program(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
		if _, err := os.Stat(serverFolder + name); err == nil {
			return serverFolder + name
		}
	}
	missing(t, strings.Join(names, " or ")+" is not installed")
	return ""
}

// R returns the path of Rscript, as Program does, where R has the packages as well.
func R(t testing.TB, packages ...string) string {
	t.Helper()
	path := Program(t, "Rscript")
	for _, name := range packages {
		if err := exec.Command(path, "-e", "library("+name+")").Run(); err != nil {
			missing(t, "R has no package "+name)
		}
	}
	return path
}

// Python returns the path of Debian's Python, as Program does, where it has the modules as well.
func Python(t testing.TB, modules ...string) string {
	t.Helper()
	const path = "/usr/bin/python3" // another one in PATH does not have Debian's modules
	for _, name := range modules {
		if err := exec.Command(path, "-c", "import "+name).Run(); err != nil {
			missing(t, "Python has no module "+name)
		}
	}
	return path
}

// Chromium returns the path of the browser, as Program does.
func Chromium(t testing.TB) string {
	t.Helper()
	return Program(t, "chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "chrome")
}

// LeftPage reports whether a wait in a page ended because that page was left. A page that has just been
// opened can be in another process of the browser, and chromedp learns of it a little later than the
// navigation ends; the same wait, begun again, runs in the new page. The protocol has one code for all of this.
func LeftPage(err error) bool {
	return err != nil && (strings.Contains(err.Error(), "Cannot find context with specified id") || strings.Contains(err.Error(), "Execution context was destroyed"))
}

// Axe returns the script of axe-core, which judges the accessibility of a page, as File does.
// POTLIFED_AXE names its file.
func Axe(t testing.TB) string {
	t.Helper()
	return string(File(t, "POTLIFED_AXE"))
}

// File returns the contents of a file that the test needs, whose path is in an environment
// variable. Where the variable is not set it skips the test, or fails it with
// POTLIFED_PEERS=require. A file that is named and cannot be read fails the test.
func File(t testing.TB, variable string) []byte {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		missing(t, "the environment variable "+variable+" is not set")
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%s: %v", variable, err)
	}
	return b
}

// Folder returns a folder that the test needs, whose path is in an environment variable. Where the
// variable is not set it skips the test, or fails it with POTLIFED_PEERS=require.
func Folder(t testing.TB, variable string) string {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		missing(t, "the environment variable "+variable+" is not set")
	}
	return path
}

func missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv(variable) == require {
		t.Fatalf("%s, and %s=%s", what, variable, require)
	}
	t.Skipf("skipped: %s", what)
}
