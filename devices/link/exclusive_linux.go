package link

import "golang.org/x/sys/unix"

// Major numbers of the slave sides of pseudo-terminals, from the kernel's
// Documentation/admin-guide/devices.txt: "136-143 char Unix98 PTY slaves".
const (
	firstPseudoTerminalMajor = 136
	lastPseudoTerminalMajor  = 143
)

// heldExclusively reports whether some program has set the terminal's exclusive mode. Root could
// otherwise open the port of a program that sets that mode and does not lock. A serial port
// loses the mode with its last close. A pseudo-terminal keeps it as long as its other side is
// open, even when the holder was killed; there the mode is not tested.
func heldExclusively(fd int) bool {
	var st unix.Stat_t
	if err := unix.Fstat(fd, &st); err != nil {
		return false
	}
	if major := unix.Major(uint64(st.Rdev)); major >= firstPseudoTerminalMajor && major <= lastPseudoTerminalMajor {
		return false
	}
	set, err := unix.IoctlGetInt(fd, unix.TIOCGEXCL)
	return err == nil && set != 0
}
