package record

// KindConfigurationRead is the kind of [ConfigurationRead].
const KindConfigurationRead Kind = "configuration-read"

// ConfigurationRead records that the configuration was reloaded while the program ran, and took
// effect. It touches no batch.
type ConfigurationRead struct {
	Changes []string          `json:"changes" doc:"what is different, such as 'sensors: hall-air is new'"`
	Devices map[string]string `json:"devices,omitempty" doc:"where the configuration finds each instrument"`
}

func (ConfigurationRead) Kind() Kind { return KindConfigurationRead }

func (ConfigurationRead) About() string { return "" }

func (e ConfigurationRead) apply(s *State, r Record) { s.setDevices(e.Devices, r.Stamp.At) }
