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
	"slices"
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

// assets are the files under /assets/ by the path that they are served at, which holds a hash of
// what is in them. An asset that a page names therefore never changes.
//
// The modules and the styles of a page are each put into one file, see joinModules: a browser that
// loads a page for the first time asks for few files, and similar text packs well.
type assets struct {
	served  map[string]content
	paths   map[string]string // by the name of a file that is served by itself, or of a joined one
	modules map[string]module // by name
	styles  map[string][]byte // by name
	apart   map[string]bool   // modules that are made by the program, and served by themselves
	packer  *gzip.Writer
}

// newAssets reads the embedded files. made are bodies in place of a file's own, or of files that are
// not embedded. An import that names no module, or that leads back to where it came from, is an error.
func newAssets(from fs.FS, made map[string][]byte) (*assets, error) {
	packer, err := gzip.NewWriterLevel(io.Discard, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	a := &assets{
		served: map[string]content{}, paths: map[string]string{}, modules: map[string]module{}, styles: map[string][]byte{},
		apart: map[string]bool{}, packer: packer,
	}
	err = fs.WalkDir(from, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || name == workerFile || contentTypes[path.Ext(name)] == "" || made[name] != nil {
			return err
		}
		body, err := fs.ReadFile(from, name)
		if err != nil {
			return err
		}
		return a.take(name, body)
	})
	if err != nil {
		return nil, err
	}
	for name, body := range made {
		if path.Ext(name) == ".js" {
			a.apart[name] = true
			a.serve(name, body)
		} else if err := a.take(name, body); err != nil {
			return nil, err
		}
	}
	for name := range a.modules {
		if path.Base(name) != "main.js" {
			continue
		}
		body, err := a.joinModules(name)
		if err != nil {
			return nil, err
		}
		a.serve(name, body)
	}
	return a, nil
}

// take keeps a module or a style, which are joined with others, and serves anything else.
func (a *assets) take(name string, body []byte) (err error) {
	switch path.Ext(name) {
	case ".js":
		a.modules[name], err = newModule(name, body)
	case ".css":
		a.styles[name] = bare(body)
	default:
		a.serve(name, body)
	}
	return err
}

// serve serves a body under a name with a hash in it.
func (a *assets) serve(name string, body []byte) {
	sum := sha256.Sum256(body)
	ext := path.Ext(name)
	at := fmt.Sprintf("/assets/%s.%s%s", strings.TrimSuffix(name, ext), hex.EncodeToString(sum[:8]), ext)
	a.paths[name], a.served[at] = at, newContent(a.packer, body, contentTypes[ext], true)
}

// style serves the styles of a page as one, in their order, and returns its path.
func (a *assets) style(folder string, names []string) (string, error) {
	var all []byte
	for _, name := range names {
		body, ok := a.styles[name]
		if !ok {
			return "", fmt.Errorf("there is no style %s", name)
		}
		all = append(all, body...)
	}
	joined := folder + "/main.css"
	a.serve(joined, all)
	return a.paths[joined], nil
}

// scripts returns the served paths of the modules of a page: those that are served by themselves, and
// the joined ones.
func (a *assets) scripts(main string) (all []string) {
	for _, name := range a.order(main) {
		if a.apart[name] {
			all = append(all, a.paths[name])
		}
	}
	return append(all, a.paths[main])
}

// order returns the names of a module and of all that it imports, each once, what is imported first.
func (a *assets) order(main string) (names []string) {
	var visit func(name string)
	visit = func(name string) {
		for _, imported := range a.modules[name].imports {
			if !slices.Contains(names, imported) {
				visit(imported)
			}
		}
		names = append(names, name)
	}
	visit(main)
	return names
}

// content is a body as it is sent. Only its compressed form is kept: all browsers take it.
type content struct {
	kind      string
	packed    []byte
	tag       string // of the plain body, without quotes
	immutable bool   // its path changes when its body does
}

// plain returns the body for a client that does not take it compressed.
func (c content) plain() []byte {
	from, err := gzip.NewReader(bytes.NewReader(c.packed))
	if err != nil {
		return nil // newContent wrote it: it can be read
	}
	body, _ := io.ReadAll(from)
	return body
}

// forget drops what only building the pages needs.
func (a *assets) forget() {
	a.packer = nil
	for name, m := range a.modules {
		m.body = nil
		a.modules[name] = m
	}
	for name := range a.styles {
		a.styles[name] = nil
	}
}

// newContent compresses a body by w, which is used for all of them: to make one is costly.
func newContent(w *gzip.Writer, body []byte, kind string, immutable bool) content {
	var packed bytes.Buffer
	w.Reset(&packed)
	_, _ = w.Write(body) // a buffer takes everything
	_ = w.Close()
	sum := sha256.Sum256(body)
	return content{kind: kind, packed: bytes.Clone(packed.Bytes()), tag: hex.EncodeToString(sum[:12]), immutable: immutable}
}
