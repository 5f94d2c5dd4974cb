package bench

import (
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
)

// TestAnotherDeviceAtAnAddressIsAsked: over a restart, until a person answers or the first one is back.
// Another address is asked about once, not twice.
func TestAnotherDeviceAtAnAddressIsAsked(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	defer func() { s.crash() }()
	is := func(scale bool, id, name string) { s.enter(identified{scale: scale, id: id, name: name}) }
	want := func(id, device, before string) {
		t.Helper()
		s.pass(time.Minute, both(mild))
		v := s.sensorRow(id)
		if v.Device != device || v.DeviceBefore != before || slices.Contains(v.Findings(), "other-device") != (before != "") {
			t.Errorf("%s: device %q, before %q, findings %v; want %q and %q", id, v.Device, v.DeviceBefore, v.Findings(), device, before)
		}
	}
	is(false, "hall-air", "sht4x")
	is(true, "scale-1", "usb-one")
	is(false, "no-such", "sht4x")
	want("hall-air", "sht4x", "")
	seq := s.b.state.Seq
	is(false, "hall-air", "sht4x")
	is(false, "hall-air", "")
	if s.b.state.Seq != seq {
		t.Error("the same name is an event")
	}
	s.crash()
	s = openShop(t, dir, c)
	is(false, "hall-air", "hdc1080")
	is(true, "scale-1", "usb-two")
	want("hall-air", "hdc1080", "sht4x")
	want("scale-1", "usb-two", "usb-one")
	is(false, "hall-air", "bme280")
	want("hall-air", "bme280", "sht4x")
	is(false, "hall-air", "sht4x")
	want("hall-air", "sht4x", "")
	is(false, "hall-air", "bme280")
	s.tell(request.ReplaceDevice{Sensor: "hall-air"})
	want("hall-air", "bme280", "")
	s.tell(request.ReplaceDevice{Sensor: "scale-1", Same: true})
	want("scale-1", "usb-two", "")
	is(false, "hall-air", "sht4x")
	s.crash()
	s = openShopOf(t, dir, c, strings.Replace(testShop, "/nowhere/else", "/nowhere/new", 1))
	is(false, "hall-air", "hdc1080")
	want("hall-air", "hdc1080", "")
	if v := s.sensorRow("hall-air"); v.MovedFrom == "" {
		t.Error("another address is not asked about")
	}
}
