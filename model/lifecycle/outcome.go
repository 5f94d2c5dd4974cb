package lifecycle

// Outcome is how a batch ended, by its name on the wire.
type Outcome string

// The outcomes. A person closes a batch with one of the first four. A mix that was not finished
// is abandoned. A part whose split was undone has the outcome undone.
const (
	UsedUp    Outcome = "used-up"
	Discarded Outcome = "discarded"
	WentOff   Outcome = "went-off"
	NotKnown  Outcome = "not-known"
	Abandoned Outcome = "abandoned"
	Undone    Outcome = "undone"
)

// StillGood is the answer to the question "was it still good?" when a batch is closed.
type StillGood string

// The answers. The empty one means that nobody was asked.
const (
	GoodYes     StillGood = "yes"
	GoodNo      StillGood = "no"
	GoodUnknown StillGood = "unknown"
)

// Seen is whether somebody saw the end of a batch when it happened.
type Seen string

// SeenNow: it was seen at the moment of closing. SeenEarlier: the end was before that.
const (
	SeenNow     Seen = "now"
	SeenEarlier Seen = "earlier"
)
