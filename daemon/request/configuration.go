package request

// ReloadConfiguration reloads the configuration. All of it takes effect, or nothing.
type ReloadConfiguration struct{}

func (ReloadConfiguration) Verb() string { return "reload" }
