//go:build !linux

package simulate

// newPort: on this system the simulated scale is a loopback TCP port. The
// pseudo-terminals of other systems need care (see ptyPort) that nobody has
// tried there.
func newPort(ScaleOptions) (port, error) { return newTCPPort() }
