package request

// Right is what an access token may be used for. A paired device has all rights, because
// everybody who works in the shop may know the PIN that pairs it.
type Right string

// The rights.
const (
	RightReport      Right = "report"      // what a press printed
	RightMix         Right = "mix"         // everything at the bench and the presses
	RightAcknowledge Right = "acknowledge" // alarms: acknowledge, shelve
	RightConfigure   Right = "configure"   // settings: learned inks, instruments, paired devices
)

// Rights returns all rights.
func Rights() []Right { return []Right{RightReport, RightMix, RightAcknowledge, RightConfigure} }

// Needs returns the right that a verb requires. A verb that is not in the table requires
// the highest right.
func Needs(verb string) Right {
	if row, ok := Find(verb); ok {
		return row.Right
	}
	return RightConfigure
}
