package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"embed"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/goreleaser/nfpm/v2"
	"github.com/goreleaser/nfpm/v2/deb"
	"github.com/goreleaser/nfpm/v2/files"
)

// shipped are the files that only a package needs.
//
//go:embed files
var shipped embed.FS

const (
	docs       = "/usr/share/doc/potlifed/"
	maintainer = "potlifed developers <potlifed@potlifed.invalid>"
)

// fileName returns the name that Debian gives a package.
func (s source) fileName(t target) string {
	return fmt.Sprintf("potlifed_%s-1_%s.deb", s.version, t.debian)
}

// writePackage builds the program for a target and writes its package to a file.
func (s source) writePackage(ctx context.Context, t target, host, scratch, file string) error {
	program, err := s.build(ctx, t, scratch)
	if err != nil {
		return err
	}
	stage := &staging{dir: filepath.Join(scratch, "stage-"+t.debian)}
	if err := s.contents(ctx, t, host, program, stage); err != nil {
		return err
	}
	info := &nfpm.Info{
		Name: "potlifed", Arch: t.debian, Platform: "linux", Version: s.version, Release: "1",
		Section: "science", Priority: "optional", Maintainer: maintainer, Homepage: "https://potlifed.invalid/", License: "Apache-2.0",
		Description: description, MTime: s.time, DisableGlobbing: true,
	}
	info.Contents = stage.contents
	info.Depends = []string{"systemd"} // for the user and the state directory
	info.Deb.Arch = t.debian
	info.Deb.Compression = "gzip" // xz saves 11 %, and takes 15 s in Go
	info.Scripts = nfpm.Scripts{PostInstall: stage.path("postinst"), PreRemove: stage.path("prerm"), PostRemove: stage.path("postrm")}
	out, err := os.Create(file)
	if err != nil {
		return err
	}
	if err := deb.Default.Package(info, out); err != nil {
		out.Close()
		return err
	}
	return out.Close()
}

const description = `guide for mixing two-component ink, with its pot life
 For the bench where a pad-printing shop mixes ink with hardener. The service
 reads a scale and humidity sensors, guides the mix, follows how much of each
 open batch's pot life is left in the air around it, and shows it on pages,
 on a light at each press, over MQTT and as Prometheus metrics.
 .
 It only advises: the ink maker's data sheet and local codes decide.`

// staging is a directory with the files of a package.
type staging struct {
	dir      string
	contents files.Contents
	err      error // the first
}

func (s *staging) path(name string) string { return filepath.Join(s.dir, filepath.Base(name)) }

// keep writes a file into the directory and returns its path.
func (s *staging) keep(name string, content []byte) string {
	path := s.path(name)
	if s.err == nil {
		s.err = os.MkdirAll(s.dir, 0o755)
	}
	if s.err == nil {
		s.err = os.WriteFile(path, content, 0o644)
	}
	return path
}

// add adds a file to the package.
func (s *staging) add(destination string, content []byte, kind string) {
	name := strings.ReplaceAll(strings.TrimPrefix(destination, "/"), "/", "_")
	s.place(s.keep(name, content), destination, kind, 0o644)
}

func (s *staging) place(path, destination, kind string, mode os.FileMode) {
	s.contents = append(s.contents, &files.Content{
		Source: path, Destination: destination, Type: kind, FileInfo: &files.ContentFileInfo{Owner: "root", Group: "root", Mode: mode},
	})
}

// addShipped adds one of the files that only a package needs.
func (s *staging) addShipped(name, destination, kind string) {
	s.add(destination, s.shipped(name), kind)
}

func (s *staging) shipped(name string) []byte {
	content, err := shipped.ReadFile("files/" + name)
	if err != nil && s.err == nil {
		s.err = err
	}
	return content
}

// contents stages the files of a package.
func (s source) contents(ctx context.Context, t target, host, program string, to *staging) error {
	to.place(program, "/usr/bin/potlifed", files.TypeFile, 0o755)
	to.addShipped("potlifed.yaml", "/etc/potlifed/potlifed.yaml", files.TypeConfigNoReplace)
	to.addShipped("potlifed.service", "/usr/lib/systemd/system/potlifed.service", files.TypeFile)
	to.addShipped("70-potlifed.rules", "/usr/lib/udev/rules.d/70-potlifed.rules", files.TypeFile)
	to.addShipped("modules.conf", "/usr/lib/modules-load.d/potlifed.conf", files.TypeFile)
	to.addShipped("sysusers.conf", "/usr/lib/sysusers.d/potlifed.conf", files.TypeFile)
	to.addShipped("tmpfiles.conf", "/usr/lib/tmpfiles.d/potlifed.conf", files.TypeFile)
	to.addShipped("lintian-overrides", "/usr/share/lintian/overrides/potlifed", files.TypeFile)
	for _, script := range []string{"postinst", "prerm", "postrm"} {
		to.keep(script, to.shipped(script))
	}
	if err := s.documents(ctx, t, to); err != nil {
		return err
	}
	for destination, args := range map[string][]string{
		"/usr/share/bash-completion/completions/potlifed":    {"completion", "bash"},
		"/usr/share/zsh/vendor-completions/_potlifed":        {"completion", "zsh"},
		"/usr/share/fish/vendor_completions.d/potlifed.fish": {"completion", "fish"},
		"/usr/share/man/man1/potlifed.1.gz":                  {"manual"},
	} {
		content, err := written(ctx, host, args...)
		if err != nil {
			return err
		}
		if strings.HasSuffix(destination, ".gz") {
			content = compressed(content)
		}
		to.add(destination, content, files.TypeFile)
	}
	return to.err
}

// documents stages what is read by people: terms, changes, example, rules for Prometheus.
func (s source) documents(ctx context.Context, t target, to *staging) error {
	modules, err := s.linkedModules(ctx, t)
	if err != nil {
		return err
	}
	terms, err := licences(modules)
	if err != nil {
		return err
	}
	changes, err := os.ReadFile(filepath.Join(s.root, "CHANGELOG.md"))
	if err != nil {
		return err
	}
	example, err := os.ReadFile(filepath.Join(s.root, "testdata", "potlifed.example.yaml"))
	if err != nil {
		return err
	}
	to.addShipped("copyright", docs+"copyright", files.TypeFile)
	to.add(docs+"linked-modules.txt.gz", compressed(terms), files.TypeFile)
	to.add(docs+"changelog.gz", compressed(changes), files.TypeFile)
	to.add(docs+"changelog.Debian.gz", compressed(s.debianChanges()), files.TypeFile)
	to.add(docs+"examples/potlifed.example.yaml", example, files.TypeFile)
	return to.err
}

// debianChanges returns the changelog of the package itself; what changed in the program is in
// the other one.
func (s source) debianChanges() []byte {
	return fmt.Appendf(nil, "potlifed (%s-1) stable; urgency=medium\n\n  * Version %s. See changelog.gz for its changes.\n\n -- %s  %s\n",
		s.version, s.version, maintainer, s.time.Format("Mon, 02 Jan 2006 15:04:05 -0700"))
}

// compressed returns content as gzip without a name and a time, which would change the package.
func compressed(content []byte) []byte {
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestCompression) // the level is a valid one
	_, err := z.Write(content)
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		panic(err) // a bytes.Buffer takes everything
	}
	return out.Bytes()
}
