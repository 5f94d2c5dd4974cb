//go:build unix && !linux

package link

// heldExclusively: these systems set the exclusive mode and have no call that
// reads it.
func heldExclusively(int) bool { return false }
