//go:build !linux

package simulate

// newPort returns a loopback TCP port: on this system the simulated scale has no
// pseudo-terminal. The pseudo-terminals of other systems need care (see ptyPort) and were not
// tried.
func newPort(ScaleOptions) (port, error) { return newTCPPort() }
