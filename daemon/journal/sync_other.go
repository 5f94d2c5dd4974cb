//go:build !linux

package journal

import "os"

// syncData brings what was written into a file to disk.
func syncData(f *os.File) error { return f.Sync() }
