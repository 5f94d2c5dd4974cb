package scale

import (
	"errors"
	"math"
	"testing"

	"potlifed/model/weigh"
)

// Reports as the HID Point of Sale Usage Tables 1.02, chapter 4, describe them; made up.
func TestHIDDecode(t *testing.T) {
	for _, c := range []struct {
		name   string
		report []byte
		want   weigh.Reading
		err    error
	}{
		{"stable", []byte{3, 4, 2, 0xff, 0x5c, 0x02}, reading(60.4, weigh.Stable, weigh.TareUnknown), nil},
		{"stable at zero", []byte{3, 2, 2, 0, 0, 0}, reading(0, weigh.Stable, weigh.TareUnknown), nil},
		{"moving", []byte{3, 3, 2, 0, 60, 0}, reading(60, weigh.Moving, weigh.TareUnknown), nil},
		{"under zero", []byte{3, 5, 2, 0xff, 123, 0}, reading(-12.3, weigh.StabilityUnknown, weigh.TareUnknown), nil},
		{"kg", []byte{3, 4, 3, 0xfd, 60, 0}, reading(60, weigh.Stable, weigh.TareUnknown), nil},
		{"mg", []byte{3, 4, 1, 0, 0xe8, 3}, reading(1, weigh.Stable, weigh.TareUnknown), nil},
		{"oz", []byte{3, 4, 11, 0xff, 10, 0}, reading(28.349523125, weigh.Stable, weigh.TareUnknown), nil},
		{"lb", []byte{3, 4, 12, 0, 1, 0}, reading(453.59237, weigh.Stable, weigh.TareUnknown), nil},
		{"a positive exponent", []byte{3, 4, 2, 1, 6, 0}, reading(60, weigh.Stable, weigh.TareUnknown), nil},
		{"over", []byte{3, 6, 2, 0, 0xff, 0xff}, weigh.Reading{Over: true}, nil},
		{"a fault", []byte{3, 1, 2, 0, 60, 0}, weigh.Reading{}, nil},
		{"to be calibrated", []byte{3, 7, 2, 0, 60, 0}, weigh.Reading{}, nil},
		{"to be zeroed", []byte{3, 8, 2, 0, 60, 0}, weigh.Reading{}, nil},
		{"grains", []byte{3, 4, 6, 0, 60, 0}, weigh.Reading{}, ErrUnit},
		{"another status", []byte{3, 9, 2, 0, 60, 0}, weigh.Reading{}, ErrUnknown},
		{"another report", []byte{4, 4, 2, 0, 60, 0}, weigh.Reading{}, ErrUnknown},
		{"an exponent that no scale has", []byte{3, 4, 2, 0x80, 60, 0}, weigh.Reading{}, ErrUnknown},
		{"a short report", []byte{3, 4, 2, 0, 60}, weigh.Reading{}, ErrTorn},
		{"nothing", nil, weigh.Reading{}, ErrUnknown},
	} {
		got, err := HIDLayout{}.decode(c.report)
		if math.Abs(got.Grams-c.want.Grams) < 1e-11 {
			got.Grams = c.want.Grams
		}
		if got != c.want || !errors.Is(err, c.err) {
			t.Errorf("%s: %+v, %v; want %+v, %v", c.name, got, err, c.want, c.err)
		}
	}
}

// A descriptor whose report has no number and another order is followed.
func TestHIDDescriptor(t *testing.T) {
	weightFirst := []byte{
		0x05, 0x8d, 0x09, 0x20, 0xa1, 0x01, 0x09, 0x32, 0xa1, 0x02,
		0x09, 0x40, 0x75, 0x10, 0x95, 0x01, 0x81, 0x02,
		0x75, 0x08, 0x09, 0x50, 0xa1, 0x02, 0x19, 0x51, 0x29, 0x5c, 0x81, 0x00, 0xc0,
		0x09, 0x70, 0xa1, 0x02, 0x19, 0x71, 0x29, 0x78, 0x81, 0x00, 0xc0, 0xc0, 0xc0,
	}
	l, err := ParseHIDDescriptor(weightFirst)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := l.decode([]byte{60, 0, 2, 4}); err != nil || r != reading(60, weigh.Stable, weigh.TareUnknown) {
		t.Errorf("%+v, %v", r, err)
	}
	keyboard := []byte{0x05, 0x01, 0x09, 0x06, 0xa1, 0x01, 0x75, 0x08, 0x95, 0x06, 0x81, 0x00, 0xc0}
	if _, err := ParseHIDDescriptor(keyboard); !errors.Is(err, errNoScale) {
		t.Errorf("a keyboard: %v", err)
	}
}

// Whatever a device describes and sends, the answer is a weight that can be or an error.
func FuzzHID(f *testing.F) {
	f.Add([]byte{0x05, 0x8d, 0x09, 0x32, 0xa1, 0x02, 0x85, 0x03, 0x75, 0x08, 0x95, 0x01, 0x09, 0x71, 0x81, 0x00, 0x09, 0x51, 0x81, 0x00, 0x09, 0x41, 0x81, 0x02, 0x75, 0x10, 0x09, 0x40, 0x81, 0x02, 0xc0}, []byte{3, 4, 2, 0xff, 0x5c, 0x02})
	f.Add([]byte{0xfe, 0xff, 0x00, 0x07}, []byte{3})
	f.Fuzz(func(t *testing.T, descriptor, report []byte) {
		layouts := []HIDLayout{{}}
		if l, err := ParseHIDDescriptor(descriptor); err == nil {
			layouts = append(layouts, l)
		}
		for _, l := range layouts {
			r, err := l.decode(report)
			if err != nil && r != (weigh.Reading{}) || math.IsNaN(r.Grams) || math.Abs(r.Grams) > 1e17 || r.HasWeight && r.Over {
				t.Errorf("%x: %+v, %v", report, r, err)
			}
		}
	})
}

// Budget on a Raspberry Pi: 10 µs a line, no allocation.
func BenchmarkEachShape(b *testing.B) {
	for _, c := range []struct{ shape, line string }{
		{"status-first", "ST,GS,+00060.0  g\r\n"},
		{"letters-first", "S S      60.00 g\r\n"},
		{"tare-first", "N     +    60.0 g  \r\n"},
		{"stability-last", "    60.0 g S N\r\n"},
		{"tare-last", "    60.0 oz N\r\n"},
		{"weight-unit", "    60.0 lb\r\n"},
		{"sign-digits", "+0060.00\r\n"},
		{"{sign}{weight}{unit=g}", "   60.0\r\n"},
		{"{skip} {skip:8} {sign}{weight} {unit}", "#17 12:30:05   60.0 g\r\n"},
		{"{bits:2|moving=0|minus=4} {pad=.}{weight,}{unit=g}", "51 ....1,060.0\r\n"},
		{"={weight<}{sign}{unit=g}", "=00.0600\r\n"},
		{"{sign}{weightE} {unit}", "+6.0000E+01 g\r\n"},
		{"{sign}{weight} {unit}{check=xor,after-etx,byte}", "\x02+00060.0 g\x03\x44\r\n"},
	} {
		b.Run(c.shape, func(b *testing.B) {
			d := synced(b, c.shape)
			p, readings := []byte(c.line), 0
			each := func(_ []byte, _ weigh.Reading, err error) {
				if err == nil {
					readings++
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				d.Feed(p, each)
			}
			if readings != b.N {
				b.Fatalf("%d readings of %d lines", readings, b.N)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "lines/s")
		})
	}
	b.Run("hid", func(b *testing.B) {
		d, report, readings := NewDecoder(mustShape(b, Auto)), []byte{3, 4, 2, 0xff, 0x5c, 0x02}, 0
		each := func(_ []byte, _ weigh.Reading, err error) {
			if err == nil {
				readings++
			}
		}
		b.ReportAllocs()
		for b.Loop() {
			d.feedReport(report, each)
		}
		if readings != b.N {
			b.Fatalf("%d readings of %d reports", readings, b.N)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "lines/s")
	})
}
