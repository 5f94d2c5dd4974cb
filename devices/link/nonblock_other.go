//go:build !unix

package link

import (
	"errors"
	"os"
)

// openNonblocking fails: there is no hidraw on this system.
func openNonblocking(string) (*os.File, error) {
	return nil, errors.New("scales on hidraw are read on Linux only")
}
