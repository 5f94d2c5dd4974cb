//go:build !linux

package simulate

import "errors"

// newPort returns a loopback TCP port: on this system the simulated scale has no
// pseudo-terminal. The pseudo-terminals of other systems need care (see ptyPort) and were not
// tried.
func newPort(ScaleOptions) (port, error) { return newTCPPort() }

func newHIDPort(ScaleOptions) (port, error) {
	return nil, errors.New("there is no hidraw on this system")
}
