package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
)

// here is the target of this machine.
func here(t *testing.T) target {
	for _, one := range targets {
		if runtime.GOOS == "linux" && one.goarch == runtime.GOARCH {
			return one
		}
	}
	t.Skipf("there is no package for %s/%s", runtime.GOOS, runtime.GOARCH)
	return target{}
}

// work is where the program is built once for all tests.
var work struct {
	once sync.Once
	dir  string
	err  error
}

func TestMain(m *testing.M) {
	work.dir, work.err = os.MkdirTemp("", "potlifed-package-test-*")
	code := m.Run()
	os.RemoveAll(work.dir)
	os.Exit(code)
}

// packaged returns the path of a package of this tree for this machine, under the given
// version, built in the given directory.
func packaged(t *testing.T, scratch, version string) string {
	t.Helper()
	machine := here(t)
	if work.err != nil {
		t.Fatal(work.err)
	}
	src, err := openSource(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	src.version = version
	program, err := src.build(t.Context(), machine, scratch)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), src.fileName(machine))
	if err := src.writePackage(t.Context(), machine, program, scratch, file); err != nil {
		t.Fatal(err)
	}
	return file
}

// needs skips the test where one of the programs is missing.
func needs(t *testing.T, programs ...string) {
	t.Helper()
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			if os.Getenv("POTLIFED_PEERS") == "require" {
				t.Fatalf("%s is not there", p)
			}
			t.Skipf("%s is not there", p)
		}
	}
}

func ran(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func TestTheSameTreeGivesTheSameBytes(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program twice")
	}
	t.Setenv("SOURCE_DATE_EPOCH", "1780000000")
	first, err := os.ReadFile(packaged(t, work.dir, "0.1.0"))
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("GOFLAGS", "-buildvcs=true -tags=other") // a builder's own settings change nothing
	again, err := os.ReadFile(packaged(t, t.TempDir(), "0.1.0"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first, again) {
		t.Error("two builds of one tree give packages that differ")
	}
}

func TestContents(t *testing.T) {
	needs(t, "dpkg-deb")
	file := packaged(t, work.dir, "0.1.0")
	if got := ran(t, "dpkg-deb", "--field", file, "Architecture"); strings.TrimSpace(got) != here(t).debian {
		t.Errorf("architecture %q", got)
	}
	list := ran(t, "dpkg-deb", "--contents", file)
	for _, want := range []string{
		"./usr/bin/potlifed", "./etc/potlifed/potlifed.yaml", "./usr/lib/systemd/system/potlifed.service", "./usr/lib/udev/rules.d/70-potlifed.rules",
		"./usr/lib/modules-load.d/potlifed.conf", "./usr/share/man/man1/potlifed.1.gz", "./usr/share/bash-completion/completions/potlifed",
		"./usr/share/doc/potlifed/examples/potlifed.example.yaml", "./usr/share/doc/potlifed/linked-modules.txt.gz",
	} {
		if !strings.Contains(list, " "+want+"\n") {
			t.Errorf("the package has no %s", want)
		}
	}
	dir := t.TempDir()
	ran(t, "dpkg-deb", "--control", file, dir)
	if conffiles, err := os.ReadFile(filepath.Join(dir, "conffiles")); err != nil || string(conffiles) != "/etc/potlifed/potlifed.yaml\n" {
		t.Errorf("conffiles %q, %v", conffiles, err)
	}
	tree := t.TempDir()
	ran(t, "dpkg-deb", "--extract", file, tree)
	out := ran(t, filepath.Join(tree, "usr/bin/potlifed"), "check", "--offline", "--config", filepath.Join(tree, "etc/potlifed/potlifed.yaml"))
	if !strings.Contains(out, "1 scale, 1 sensor, 1 press, 1 ink") {
		t.Errorf("check of the configuration in the package:\n%s", out)
	}
}

// TestTermsOfAllThatIsLinked: each module has its terms in the package, for each kind of machine.
func TestTermsOfAllThatIsLinked(t *testing.T) {
	src, err := openSource(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range targets {
		modules, err := src.linkedModules(t.Context(), one)
		if err != nil {
			t.Fatal(err)
		}
		text, err := licences(modules)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"\nGo go1.", "\nmodernc.org/sqlite v", "\ngithub.com/eclipse/paho.mqtt.golang v", "Eclipse Public License"} {
			if !bytes.Contains(text, []byte(want)) {
				t.Errorf("%s: the terms have no %q", one.debian, want)
			}
		}
		if len(modules) < 30 {
			t.Errorf("%s: only %d modules are linked", one.debian, len(modules))
		}
	}
	if _, err := licences([]linked{{"example.org/bare", "v1.0.0", t.TempDir()}}); err == nil {
		t.Error("a module without terms was taken")
	}
}

func TestLintianFindsNothing(t *testing.T) {
	if _, err := exec.LookPath("lintian"); err != nil {
		t.Skip("lintian is not there")
	}
	if testing.Short() {
		t.Skip("lintian takes long")
	}
	out, err := exec.CommandContext(t.Context(), "lintian", "--allow-root", "--no-cfg", packaged(t, work.dir, "0.1.0")).CombinedOutput()
	if err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("lintian: %v\n%s", err, out)
	}
}
