package main

import (
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"

	"potlifed/daemon/config"
	"potlifed/daemon/kit"
)

// checkFolder checks every configuration below a folder, as potlifed plant writes them. The files that they name are
// on their benches and are not looked for.
func checkFolder(out io.Writer, dir string) error {
	l := &checklist{out: out}
	names := map[string]string{} // files by topics
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() != kit.Configuration {
			return err
		}
		shop, err := config.Read(path)
		if err != nil {
			l.fault(filepath.Base(filepath.Dir(path)), "%s", strings.ReplaceAll(err.Error(), "\n", "\n       "))
			return nil
		}
		topics := shop.MQTT.TopicPrefix + "/" + shop.Bench
		if first, twice := names[topics]; twice {
			l.fault(shop.Bench, "%s: the bench of %s; want a name of its own", path, first)
			return nil
		}
		names[topics] = path
		l.good(shop.Bench, "%s: %s, %s", path, counted(len(shop.Presses), "press", "presses"), counted(len(shop.Inks), "ink", "inks"))
		l.questions(shop)
		return nil
	})
	switch {
	case err != nil:
		return usage("check: %w", err)
	case len(names) == 0 && l.faults == 0:
		return usage("check: there is no %s in %s", kit.Configuration, dir)
	case len(names) > 0:
		fmt.Fprintf(out, "%s checked\n", counted(len(names), "configuration", "configurations"))
	}
	return l.verdict()
}
