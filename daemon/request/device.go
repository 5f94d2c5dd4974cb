package request

// PairDevice records that a device was paired. The program makes it; it is never read from
// a request.
type PairDevice struct{ Device, Session string }

// UnpairDevice records that a device was unpaired. The program makes it.
type UnpairDevice struct{ Device, Session string }

func (PairDevice) Verb() string { return "session" }

func (UnpairDevice) Verb() string { return "unpair" }
