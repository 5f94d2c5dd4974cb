package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"strings"
)

// The parts of the pages: lib knows nothing of the trade, parts are what several pages show, and
// each page has a folder of its own. The tests of a module are beside it as *.test.mjs, which no
// pattern takes in.
//
//go:embed frame.html */*.html */*.css */*.js */*.svg */*.png
var files embed.FS

// contentTypes are written out: those that package mime knows depend on the machine.
var contentTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
	".png": "image/png",
}

// specifier finds what a module imports: the path relative to the module's own folder.
var specifier = regexp.MustCompile(`(?m)^((?:import|export)\s[^"';]*from\s+|import\s+)"(\.\.?/[^"]+)"`)

// assets are the files under /assets/ by the path that they are served at, which holds a hash of
// what is in them. An asset that a page names therefore never changes.
type assets struct {
	served map[string]content
	paths  map[string]string   // by the file's own name, such as lib/dom.js
	needs  map[string][]string // the modules that a module imports, by name
	open   map[string]bool     // whose imports are being looked up
	made   map[string][]byte   // bodies that are served in place of a file's own, by its name
	packer *gzip.Writer
}

// newAssets reads the embedded files; made are bodies in place of a file's own, or of files that are not
// embedded. An import that
// names no module, or that leads back to where it came from, is an error.
func newAssets(from fs.FS, made map[string][]byte) (*assets, error) {
	packer, err := gzip.NewWriterLevel(io.Discard, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	a := &assets{served: map[string]content{}, paths: map[string]string{}, needs: map[string][]string{}, open: map[string]bool{}, made: made, packer: packer}
	err = fs.WalkDir(from, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || name == workerFile || contentTypes[path.Ext(name)] == "" {
			return err
		}
		_, err = a.add(from, name)
		return err
	})
	if err != nil {
		return nil, err
	}
	for name := range made {
		if _, err := a.add(from, name); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// add takes a file in, after those that it imports, and returns the path that it is served at.
func (a *assets) add(from fs.FS, name string) (string, error) {
	if at, ok := a.paths[name]; ok {
		return at, nil
	}
	if a.open[name] {
		return "", fmt.Errorf("%s imports itself by way of others", name)
	}
	a.open[name] = true
	defer delete(a.open, name)
	body, replaced := a.made[name]
	if !replaced {
		var err error
		if body, err = fs.ReadFile(from, name); err != nil {
			return "", err
		}
	}
	if path.Ext(name) == ".js" {
		var err error
		if body, err = a.resolve(from, name, body); err != nil {
			return "", err
		}
	}
	sum := sha256.Sum256(body)
	ext := path.Ext(name)
	at := fmt.Sprintf("/assets/%s.%s%s", strings.TrimSuffix(name, ext), hex.EncodeToString(sum[:8]), ext)
	a.paths[name], a.served[at] = at, newContent(a.packer, body, contentTypes[ext], true)
	return at, nil
}

// resolve puts the served paths of the imported modules in place of their names.
func (a *assets) resolve(from fs.FS, name string, body []byte) ([]byte, error) {
	var failed error
	body = specifier.ReplaceAllFunc(body, func(found []byte) []byte {
		m := specifier.FindSubmatch(found)
		imported := path.Join(path.Dir(name), string(m[2]))
		at, err := a.add(from, imported)
		if err != nil && failed == nil {
			failed = fmt.Errorf("%s: %w", name, err)
		}
		a.needs[name] = append(a.needs[name], imported)
		return fmt.Appendf(nil, "%s%q", m[1], at)
	})
	return body, failed
}

// modules returns the served paths of a module and of all that it imports, each once, what is
// imported first.
func (a *assets) modules(name string) []string {
	var all []string
	seen := map[string]bool{}
	var visit func(name string)
	visit = func(name string) {
		if seen[name] {
			return
		}
		seen[name] = true
		for _, imported := range a.needs[name] {
			visit(imported)
		}
		all = append(all, a.paths[name])
	}
	visit(name)
	return all
}

// content is a body as it is sent, plain and compressed.
type content struct {
	kind          string
	plain, packed []byte
	tag           string // of the plain body, without quotes
	immutable     bool   // its path changes when its body does
}

// newContent compresses a body by w, which is used for all of them: to make one is costly.
func newContent(w *gzip.Writer, body []byte, kind string, immutable bool) content {
	var packed bytes.Buffer
	w.Reset(&packed)
	_, _ = w.Write(body) // a buffer takes everything
	_ = w.Close()
	sum := sha256.Sum256(body)
	return content{kind: kind, plain: body, packed: packed.Bytes(), tag: hex.EncodeToString(sum[:12]), immutable: immutable}
}
