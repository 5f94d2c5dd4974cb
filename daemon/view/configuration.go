package view

// Configuration answers that the configuration was reloaded.
type Configuration struct {
	Changes []string `json:"changes" doc:"what is different and in effect now, such as 'sensors: hall-air is new'; empty if nothing is"`
}
