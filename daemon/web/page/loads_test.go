package page

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// loads returns what pages and assets were asked for since it was last called. What the service
// worker asks for, once and when it likes, is left out.
func (f *fakeBench) loads() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	all := f.loaded
	f.loaded = nil
	a := inEnglish().site.assets
	own := []string{workerPath, manifestPath, offlinePath, a.paths["offline/main.css"], a.paths["offline/main.js"]}
	return slices.DeleteFunc(all, func(path string) bool { return slices.Contains(own, path) })
}

// mostAssets is for the style, the texts, the script, and two icons.
const mostAssets = 5

// TestASecondLoadAsksForThePageAlone: what a page is made of is asked for once, each file one
// time, and kept.
func TestASecondLoadAsksForThePageAlone(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, cansShop(time.Now())), openBrowser(t, 1280, 800)
	for _, path := range append(pagePaths(), "/batches/0611-2") {
		b.openAt(f, path)
		first := f.loads()
		if len(first) < 2 && path == "/" {
			t.Errorf("%s: the first load asked for %v only", path, first)
		}
		b.run(chromedp.Navigate("about:blank"))
		b.openAt(f, path)
		if again := f.loads(); !slices.Equal(again, []string{path}) {
			t.Errorf("%s: the second load asked for %v", path, again)
		}
		slices.Sort(first)
		if once := slices.Compact(slices.Clone(first)); len(once) != len(first) {
			t.Errorf("%s: a file was asked for twice: %v", path, first)
		}
		assets := slices.DeleteFunc(first, func(p string) bool { return !strings.HasPrefix(p, "/assets/") })
		if len(assets) > mostAssets {
			t.Errorf("%s: the first load asked for %d assets, want %d at most: %v", path, len(assets), mostAssets, assets)
		}
	}
}
