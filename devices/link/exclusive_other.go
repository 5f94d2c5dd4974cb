//go:build unix && !linux

package link

// heldExclusively returns false: these systems can set the exclusive mode and have no call that
// reads it.
func heldExclusively(int) bool { return false }
