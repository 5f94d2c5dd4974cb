package record

// The kinds about paired devices. The journal records that a device was paired, but not the
// secret of its session.
const (
	KindDevicePaired   Kind = "device-paired"
	KindDeviceUnpaired Kind = "device-unpaired"
)

// DevicePaired records that a device was paired with the shop's PIN. It may make changes
// from then on.
type DevicePaired struct {
	Device  string `json:"device" doc:"name of the device"`
	Session string `json:"session" doc:"public id of the session"`
}

// DeviceUnpaired ends the session of a paired device.
type DeviceUnpaired struct {
	Device  string `json:"device" doc:"name of the device"`
	Session string `json:"session" doc:"public id of the session"`
}

func (DevicePaired) Kind() Kind   { return KindDevicePaired }
func (DeviceUnpaired) Kind() Kind { return KindDeviceUnpaired }

func (DevicePaired) About() string   { return "" }
func (DeviceUnpaired) About() string { return "" }

func (DevicePaired) apply(*State, Record)   {}
func (DeviceUnpaired) apply(*State, Record) {}
