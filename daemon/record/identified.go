package record

import "maps"

// KindIdentified is the kind of [Identified].
const KindIdentified Kind = "instrument-identified"

// Identified records which device was found at the address of an instrument. Another device at the same
// address is a reason to ask whether the instrument was replaced.
type Identified struct {
	Device string `json:"device" doc:"id of the sensor or scale"`
	Scale  bool   `json:"scale,omitempty" doc:"it is a scale"`
	Name   string `json:"name" doc:"the system's name of what is there: that of the chip's driver, or of the adapter by id"`
	Was    string `json:"was,omitempty" doc:"name of what was there before; absent for the first"`
}

func (Identified) Kind() Kind    { return KindIdentified }
func (Identified) About() string { return "" }

// key is the key of the instrument in the state.
func (e Identified) key() string {
	if e.Scale {
		return ScaleKey(e.Device)
	}
	return SensorKey(e.Device)
}

func (e Identified) apply(s *State, r Record) {
	key := e.key()
	s.Names, s.Renamed = maps.Clone(s.Names), maps.Clone(s.Renamed)
	if s.Names == nil { // a checkpoint of a version that did not know names
		s.Names = map[string]string{}
	}
	s.Names[key] = e.Name
	before, asked := s.Renamed[key]
	switch {
	case asked && before.Was == e.Name: // the first one is back
		delete(s.Renamed, key)
	case !asked && e.Was != "":
		if s.Renamed == nil {
			s.Renamed = map[string]Move{}
		}
		s.Renamed[key] = Move{At: r.Stamp.At, Was: e.Was}
	}
}
