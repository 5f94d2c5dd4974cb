package link

import "golang.org/x/sys/unix"

// Majors of the slave sides of pseudo-terminals, from the kernel's
// Documentation/admin-guide/devices.txt: "136-143 char Unix98 PTY slaves".
const (
	firstPseudoTerminalMajor = 136
	lastPseudoTerminalMajor  = 143
)

// heldExclusively says whether some program has set the terminal's exclusive
// mode. Without it root would open the port of a program that does set that
// mode and does not lock. A serial port forgets the mode with its last close;
// a pseudo-terminal keeps it for as long as its other side is open, even when
// the holder was killed, so there it proves nothing and is not asked.
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
