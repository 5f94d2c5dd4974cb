package request

// PairDevice puts on record that a device was paired. It is made by the program and
// never read from a request.
type PairDevice struct{ Device, Session string }

// UnpairDevice puts on record that a device was unpaired; made by the program as well.
type UnpairDevice struct{ Device, Session string }

func (PairDevice) Verb() string { return "session" }

func (UnpairDevice) Verb() string { return "unpair" }
