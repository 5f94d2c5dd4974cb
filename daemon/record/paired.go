package record

// The kinds of who may change something. What lets a device in is no part of the
// journal; that it was let in is.
const (
	KindDevicePaired   Kind = "device-paired"
	KindDeviceUnpaired Kind = "device-unpaired"
)

// DevicePaired says that a device knew the shop's PIN and may change things from now on.
type DevicePaired struct {
	Device  string `json:"device" doc:"name of the device"`
	Session string `json:"session" doc:"public id of the session"`
}

// DeviceUnpaired ends that.
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
