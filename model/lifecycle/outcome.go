package lifecycle

// Outcome is how a batch ended, as the wire's `outcome`.
type Outcome string

// The outcomes. A person closes a batch as one of the first four; a mix that was not
// finished is abandoned, and a part whose split was undone never was.
const (
	UsedUp    Outcome = "used-up"
	Discarded Outcome = "discarded"
	WentOff   Outcome = "went-off"
	NotKnown  Outcome = "not-known"
	Abandoned Outcome = "abandoned"
	Undone    Outcome = "undone"
)

// StillGood is the answer to "was it still good?" at closing.
type StillGood string

// The answers; the empty one is that nobody was asked.
const (
	GoodYes     StillGood = "yes"
	GoodNo      StillGood = "no"
	GoodUnknown StillGood = "unknown"
)

// Seen is whether somebody saw the end of a batch as it happened.
type Seen string

// SeenNow: it was seen at the moment of closing. SeenEarlier: the end was before that.
const (
	SeenNow     Seen = "now"
	SeenEarlier Seen = "earlier"
)
