package daemon

import (
	"path/filepath"
	"testing"
)

// The room on the disk is known of a directory, and not of one that is not there.
func TestDiskSpace(t *testing.T) {
	d := diskSpace{dir: t.TempDir()}
	if d.free() != nil {
		t.Error("known before it was asked for")
	}
	if d.look(); d.free() == nil || *d.free() <= 0 {
		t.Errorf("free: %v", d.free())
	}
	d.dir = filepath.Join(d.dir, "none")
	if d.look(); d.free() != nil {
		t.Errorf("%d bytes are free where nothing is", *d.free())
	}
}
