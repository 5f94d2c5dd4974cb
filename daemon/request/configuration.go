package request

// ReloadConfiguration reads the configuration anew. All of it takes effect, or nothing.
type ReloadConfiguration struct{}

func (ReloadConfiguration) Verb() string { return "reload" }
