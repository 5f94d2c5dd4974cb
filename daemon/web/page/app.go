package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"slices"
)

// The paths of what makes the pages an app of the device that shows them.
const (
	manifestPath = "/manifest.webmanifest"
	workerPath   = "/worker.js"
	offlinePath  = "/offline"
)

// workerFile is the service worker. It is no asset: its path never changes, and it may answer for
// the pages below its own path only.
const workerFile = "app/worker.js"

// offlinePage is shown by the service worker when the bench cannot be reached. It follows no stream
// and shows nothing of the bench.
var offlinePage = document{At: offlinePath, Folder: "offline", Styles: []string{"lib/base.css", "offline/offline.css"}}

// icons are the pictures of the app, by file and by size.
var icons = []struct{ file, sizes, kind, purpose string }{
	{"lib/icon.svg", "any", "image/svg+xml", "any"},
	{"app/icon-192.png", "192x192", "image/png", "any"},
	{"app/icon-512.png", "512x512", "image/png", "any"},
	{"app/icon-maskable-512.png", "512x512", "image/png", "maskable"},
}

// manifest is the web app manifest (W3C, Web Application Manifest). The app fills the screen of a tablet on the
// bench; a browser that cannot do so takes "standalone" instead, as the standard says.
type manifest struct {
	ID              string         `json:"id"`
	Name            string         `json:"name"`
	ShortName       string         `json:"short_name"`
	Description     string         `json:"description"`
	Lang            string         `json:"lang"`
	StartURL        string         `json:"start_url"`
	Scope           string         `json:"scope"`
	Display         string         `json:"display"`
	BackgroundColor string         `json:"background_color"`
	ThemeColor      string         `json:"theme_color"`
	Icons           []manifestIcon `json:"icons"`
}

type manifestIcon struct {
	Src     string `json:"src"`
	Sizes   string `json:"sizes"`
	Type    string `json:"type"`
	Purpose string `json:"purpose"`
}

// addApp puts the manifest, the page for a bench out of reach and the service worker among the
// pages.
func (b *built) addApp(from fs.FS) error {
	m := manifest{
		ID: "/", Name: "potlifed", ShortName: "potlifed", Description: b.locale.Say("page.app.description"), Lang: b.locale.Code(),
		StartURL: "/", Scope: "/", Display: "fullscreen", BackgroundColor: "#f5f5f2", ThemeColor: "#1b1d1f",
	}
	for _, i := range icons {
		at, ok := b.assets.paths[i.file]
		if !ok {
			return fmt.Errorf("there is no icon %s", i.file)
		}
		m.Icons = append(m.Icons, manifestIcon{Src: at, Sizes: i.sizes, Type: i.kind, Purpose: i.purpose})
	}
	body, err := json.Marshal(m)
	if err != nil {
		return err
	}
	b.pages[manifestPath] = newContent(b.assets.packer, body, "application/manifest+json", false)

	t, err := b.template(from, offlinePage)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := t.ExecuteTemplate(&out, "offline", offlinePage); err != nil {
		return fmt.Errorf("%s: %w", offlinePage.Folder, err)
	}
	b.pages[offlinePath] = newContent(b.assets.packer, out.Bytes(), "text/html; charset=utf-8", false)
	return b.addWorker(from, out.Bytes())
}

// addWorker puts the service worker among the pages. Its version is the hash of all that it keeps, so
// that a browser installs it again, and drops what it kept, when any of that has changed.
func (b *built) addWorker(from fs.FS, offline []byte) error {
	body, err := fs.ReadFile(from, workerFile)
	if err != nil {
		return err
	}
	b.shell = []string{offlinePath, b.assets.paths[offlinePage.Folder+"/main.css"]}
	b.shell = append(b.shell, b.assets.scripts(offlinePage.Folder+"/main.js")...)
	b.shell = append(b.shell, b.assets.paths["lib/icon.svg"])
	list, err := json.Marshal(b.shell)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(slices.Concat(body, list, offline))
	for _, put := range []struct{ word, with string }{{`"VERSION"`, `"` + hex.EncodeToString(sum[:8]) + `"`}, {`["SHELL"]`, string(list)}} {
		if bytes.Count(body, []byte(put.word)) != 1 {
			return fmt.Errorf("%s has %s not once", workerFile, put.word)
		}
		body = bytes.Replace(body, []byte(put.word), []byte(put.with), 1)
	}
	b.pages[workerPath] = newContent(b.assets.packer, body, contentTypes[".js"], false)
	return nil
}
