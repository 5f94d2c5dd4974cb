package scale

import (
	"errors"
	"time"

	"potlifed/model/weigh"
)

// HID scales send reports in place of lines: usage page 0x8D of the USB-IF's "HID Point of Sale
// Usage Tables" 1.02, chapter 4, "Weighing Devices". The data report (usage 0x32) has the status, the
// unit, the exponent of ten (signed) and the weight (least significant byte first).
const (
	weighingPage    = 0x8d
	usageDataReport = 0x32
	usageWeight     = 0x40
	usageScaling    = 0x41
	usageUnit       = 0x50 // the collection of the units 0x51 to 0x5c
	usageStatus     = 0x70 // the collection of the states 0x71 to 0x78
)

// The states of a data report, as values.
const (
	hidFault = 1 + iota
	hidZero
	hidMoving
	hidStable
	hidUnderZero
	hidOver
	hidCalibrate
	hidRezero
)

// HIDLayout says where the parts of a data report are. The zero value is that of devices whose
// descriptor is not known: a report number, and then one byte each and two for the weight.
type HIDLayout struct {
	known                          bool
	numbered                       bool // reports begin with their number
	number                         byte
	status, unit, exponent, weight int // byte offsets in the report; no exponent is -1
	weightLen                      int // in bytes
}

// errNoScale means that a device's descriptor describes no scale.
var errNoScale = errors.New("the device is no scale: its descriptor has no data report of usage page 0x8D")

// ParseHIDDescriptor returns the layout of the data report that a report descriptor (HID 1.11,
// section 6.2.2) describes. It returns an error when there is none.
func ParseHIDDescriptor(descriptor []byte) (HIDLayout, error) {
	p := hidParser{layout: HIDLayout{known: true, status: -1, unit: -1, exponent: -1, weight: -1}, bits: map[byte]int{}}
	for len(descriptor) > 0 {
		prefix := descriptor[0]
		size := int(prefix & 3)
		if size == 3 {
			size = 4
		}
		if prefix == 0xfe { // a long item: its length is in the next byte
			if len(descriptor) < 3 {
				break
			}
			descriptor = descriptor[min(3+int(descriptor[1]), len(descriptor)):]
			continue
		}
		if len(descriptor) < 1+size {
			break
		}
		var value uint32
		for i := range size {
			value |= uint32(descriptor[1+i]) << (8 * i)
		}
		p.item(prefix&^3, size, value)
		descriptor = descriptor[1+size:]
	}
	l := p.layout
	if l.status < 0 || l.unit < 0 || l.weight < 0 {
		return HIDLayout{}, errNoScale
	}
	return l, nil
}

// hidParser follows the items of a descriptor.
type hidParser struct {
	layout      HIDLayout
	page        uint32
	size, count int
	number      byte
	usages      []uint32
	collections []uint32
	bits        map[byte]int // of each report, how many bits its inputs have so far
}

// The items that matter, by their prefix without the size.
const (
	itemInput           = 0x80
	itemOutput          = 0x90
	itemFeature         = 0xb0
	itemCollection      = 0xa0
	itemEndOfCollection = 0xc0
	itemUsagePage       = 0x04
	itemReportSize      = 0x74
	itemReportID        = 0x84
	itemReportCount     = 0x94
	itemUsage           = 0x08
	itemUsageMinimum    = 0x18
)

// Bounds of what a descriptor may ask for; a real one is far below them.
const (
	maxHIDBits        = 1 << 12
	maxHIDCollections = 64
)

func (p *hidParser) item(kind byte, size int, value uint32) {
	switch kind {
	case itemUsagePage:
		p.page = value
	case itemReportSize:
		p.size = int(min(value, 64))
	case itemReportCount:
		p.count = int(min(value, 64))
	case itemReportID:
		p.number, p.layout.numbered = byte(value), true
	case itemUsage, itemUsageMinimum:
		if size < 4 {
			value |= p.page << 16
		}
		if len(p.usages) < maxHIDCollections {
			p.usages = append(p.usages, value)
		}
	case itemCollection:
		usage := uint32(0)
		if len(p.usages) > 0 {
			usage = p.usages[0]
		}
		if len(p.collections) < maxHIDCollections {
			p.collections = append(p.collections, usage)
		}
		p.usages = nil
	case itemEndOfCollection:
		if len(p.collections) > 0 {
			p.collections = p.collections[:len(p.collections)-1]
		}
		p.usages = nil
	case itemInput:
		p.input()
		p.usages = nil
	case itemOutput, itemFeature:
		p.usages = nil
	}
}

// input takes the fields of an input item.
func (p *hidParser) input() {
	at := p.bits[p.number]
	if p.inDataReport() && at%8 == 0 {
		for i, usage := range p.usages {
			if usage>>16 != weighingPage || i > 0 && i >= p.count {
				continue
			}
			// The first usage of a list of states or units tells what the field is.
			from := (at + i*p.size) / 8
			switch u := int(usage & 0xffff); {
			case u == usageWeight && p.layout.weight < 0 && (p.size == 8 || p.size == 16 || p.size == 32):
				p.layout.weight, p.layout.weightLen, p.layout.number = from, p.size/8, p.number
			case u == usageScaling && p.layout.exponent < 0 && p.size == 8:
				p.layout.exponent = from
			case u > usageUnit && u <= usageUnit+12 && p.layout.unit < 0 && i == 0 && p.size == 8:
				p.layout.unit = from
			case u > usageStatus && u <= usageStatus+8 && p.layout.status < 0 && i == 0 && p.size == 8:
				p.layout.status = from
			}
		}
	}
	if at+p.size*p.count <= maxHIDBits {
		p.bits[p.number] = at + p.size*p.count
	}
}

func (p *hidParser) inDataReport() bool {
	for _, c := range p.collections {
		if c == weighingPage<<16|usageDataReport {
			return true
		}
	}
	return false
}

// hidUnits are the units of a data report by their value; 0 for those that are not read.
var hidUnits = [...]struct {
	unit     unit
	decimals int
}{2: {grams, 0}, 3: {kilograms, 0}, 1: {grams, 3}, 11: {ounces, 0}, 12: {pounds, 0}}

// decode returns the reading of one report. The error is or wraps ErrUnknown for a report of
// another kind, and ErrUnit for a unit that is not read. A scale that reports a fault or asks to be
// calibrated has no weight.
func (l HIDLayout) decode(report []byte) (weigh.Reading, error) {
	if !l.known {
		l = HIDLayout{known: true, numbered: true, number: 3, status: 0, unit: 1, exponent: 2, weight: 3, weightLen: 2}
	}
	if l.numbered {
		if len(report) == 0 || report[0] != l.number {
			return weigh.Reading{}, ErrUnknown
		}
		report = report[1:]
	}
	if len(report) < max(l.status, l.unit, l.exponent)+1 || len(report) < l.weight+l.weightLen {
		return weigh.Reading{}, ErrTorn
	}
	r := weigh.Reading{}
	negative := false
	switch report[l.status] {
	case hidFault, hidCalibrate, hidRezero:
		return r, nil
	case hidOver:
		r.Over = true
		return r, nil
	case hidZero, hidStable:
		r.Stability = weigh.Stable
	case hidMoving:
		r.Stability = weigh.Moving
	case hidUnderZero:
		negative = true
	default:
		return weigh.Reading{}, ErrUnknown
	}
	code := int(report[l.unit])
	if code >= len(hidUnits) || hidUnits[code].unit == noUnit {
		return weigh.Reading{}, ErrUnit
	}
	exponent := 0
	if l.exponent >= 0 {
		exponent = int(int8(report[l.exponent]))
	}
	var mantissa uint64
	for i := range l.weightLen {
		mantissa |= uint64(report[l.weight+i]) << (8 * i)
	}
	decimals := hidUnits[code].decimals - exponent
	// Within these bounds a weight is exact, and sane.
	if decimals < -3 || decimals >= len(powers)-3 {
		return weigh.Reading{}, ErrUnknown
	}
	r.HasWeight = true
	r.Grams = scaled(mantissa, decimals, hidUnits[code].unit)
	if negative && mantissa != 0 {
		r.Grams = -r.Grams
	}
	return r, nil
}

// hidName is the name of the shape of reports.
const hidName = "hid"

// hidState is what a Decoder knows of a scale that sends reports.
type hidState struct {
	layout HIDLayout
	wrong  error // why the device's reports cannot be read
	last   weigh.Reading
	rests  bool      // last is the state of the pan until the next report
	said   time.Time // when it was passed on
}

// repeatEvery is how often the reading of a scale that reports only changes is passed on again.
const repeatEvery = 500 * time.Millisecond

// describe takes the descriptor of the device, nil for one that could not be read.
func (h *hidState) describe(descriptor []byte) {
	*h = hidState{}
	if descriptor != nil {
		h.layout, h.wrong = ParseHIDDescriptor(descriptor)
	}
}

// feedReport takes one report and calls each for it, as Feed does for a line.
func (d *Decoder) feedReport(report []byte, each func(report []byte, r weigh.Reading, err error)) {
	r, err := weigh.Reading{}, d.hid.wrong
	if err == nil {
		r, err = d.hid.layout.decode(report)
	}
	d.count(r, err)
	if err == nil {
		d.hid.last, d.hid.said = r, time.Now()
		d.hid.rests = r.Stability != weigh.Moving
	}
	each(report, r, err)
}

// repeats returns the reading that still holds. A scale may report only what changes: HID 1.11,
// section 7.2.4, lets a device that has nothing new answer nothing for ever. The host asks it all the
// time, and notices when it is unplugged. A weight in motion is not repeated.
func (h *hidState) repeats() (r weigh.Reading, due, rests bool) {
	if !h.rests {
		return r, false, false
	}
	if time.Since(h.said) < repeatEvery {
		return r, false, true
	}
	h.said = time.Now()
	return h.last, true, true
}
