package request

// Right is what a token may be used for. A paired device has all rights: pairing takes
// the shop's PIN, which everybody who works there may know.
type Right string

// The rights.
const (
	RightReport      Right = "report"      // what a press printed
	RightMix         Right = "mix"         // everything at the bench and the presses
	RightAcknowledge Right = "acknowledge" // alarms: acknowledge, shelve
	RightConfigure   Right = "configure"   // what outlasts the day: learned inks, instruments, paired devices
)

// Rights returns all rights.
func Rights() []Right { return []Right{RightReport, RightMix, RightAcknowledge, RightConfigure} }

// Needs returns the right that the change with this verb takes. A verb that is not in
// the table takes the highest.
func Needs(verb string) Right {
	if row, ok := Find(verb); ok {
		return row.Right
	}
	return RightConfigure
}
