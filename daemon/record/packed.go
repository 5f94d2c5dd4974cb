package record

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"
	"time"

	"potlifed/model/cure"
)

// Most records of a journal are steps of air, and a press that reports each print adds a record with each.
// As JSON a step takes 330 bytes, and a memory card sees each page that a commit fills. The bodies of these
// two kinds are therefore stored packed, in about a quarter of that, with every digit. No index looks into
// them. A packed body begins with packedBodies, a body of JSON with a brace; both are read.
const packedBodies = 1

// Stored returns the body as the journal stores it. [DecodeBody] reads it.
func (r Record) Stored() ([]byte, error) {
	var p packer
	switch b := r.Body.(type) {
	case AirStep:
		p.airStep(b)
	case Counted:
		p.counted(b)
	default:
		return r.JSON()
	}
	if p.no { // what JSON cannot hold either is an error of JSON
		return r.JSON()
	}
	return p.out, nil
}

// unpacked returns the body in packed bytes.
func unpacked(kind Kind, data []byte) (Body, error) {
	u := unpacker{rest: data[1:]}
	var b Body
	switch kind {
	case KindAirStep:
		b = u.airStep()
	case KindCounted:
		b = u.counted()
	default:
		return nil, errPacked
	}
	if u.bad || len(u.rest) > 0 {
		return nil, errPacked
	}
	return b, nil
}

var errPacked = errors.New("a packed body is damaged")

// stepKinds are numbered by their place, which never changes.
var stepKinds = []cure.StepKind{cure.Measured, cure.Held, cure.Stale, cure.Bridged}

// figures returns the figures of a step, in an order that never changes.
func (e *AirStep) figures() []*float64 {
	s := &e.Step
	return []*float64{
		&s.From.TemperatureC, &s.From.HumidityPct, &s.To.TemperatureC, &s.To.HumidityPct, &e.After.TemperatureC, &e.After.HumidityPct,
		&s.Worst.TemperatureC, &s.Worst.HumidityPct, &s.DriftK, &s.DriftPct,
	}
}

// usual returns what the figure at a place of figures most often is: that of the air before, or zero.
func usual(figures []*float64, place int) float64 {
	if place >= 2 && place < 6 {
		return *figures[place-2]
	}
	return 0
}

func (p *packer) airStep(e AirStep) {
	kind := slices.Index(stepKinds, e.Step.Kind)
	figures, differs := e.figures(), uint64(0)
	for i, x := range figures {
		if p.no = p.no || math.IsNaN(*x) || math.IsInf(*x, 0); math.Float64bits(*x) != math.Float64bits(usual(figures, i)) {
			differs |= 1 << i
		}
	}
	p.no = p.no || kind < 0
	p.text(e.Zone)
	p.time(e.Start)
	p.flags(e.Step.Uncertain)
	p.number(int64(kind))
	p.number(int64(e.Step.Duration))
	p.number(int64(e.Step.Held))
	p.number(int64(differs))
	for i, x := range figures {
		if differs>>i&1 == 1 {
			p.figure(*x)
		}
	}
	p.time(e.ReadAt)
}

func (u *unpacker) airStep() (e AirStep) {
	e.Zone, e.Start = u.text(), u.time()
	e.Step.Uncertain = u.flags(1)[0]
	kind := u.number()
	if kind < 0 || kind >= int64(len(stepKinds)) {
		u.bad = true
		return e
	}
	e.Step.Kind = stepKinds[kind]
	e.Step.Duration, e.Step.Held = time.Duration(u.number()), time.Duration(u.number())
	figures, differs := e.figures(), u.number()
	for i, x := range figures {
		if *x = usual(figures, i); differs>>i&1 == 1 {
			*x = u.figure()
		}
	}
	u.bad = u.bad || differs < 0 || differs>>len(figures) != 0
	e.ReadAt = u.time()
	return e
}

// texts and figures return what is known of conditions, in an order that never changes.
func (c *Conditions) texts() []*string {
	return []*string{&c.Ink, &c.LifeQuality, &c.Zone, &c.AirQuality}
}

func (c *Conditions) figures() []**float64 {
	return []**float64{&c.Spent, &c.ThinnerPct, &c.RatioOffPct, &c.TemperatureC, &c.HumidityPct, &c.VapourDensity}
}

func (p *packer) counted(e Counted) {
	p.flags(e.Late, e.Counter != nil, e.Conditions != nil, e.Conditions != nil && e.Conditions.Age != nil)
	for _, s := range []string{e.Press, e.Defect, e.Batch, e.Day} {
		p.text(s)
	}
	p.number(e.Add)
	p.time(e.Minute)
	if e.Counter != nil {
		p.no = p.no || *e.Counter > math.MaxInt64
		p.number(int64(*e.Counter))
	}
	if e.Conditions == nil {
		return
	}
	for _, s := range e.Conditions.texts() {
		p.text(*s)
	}
	if e.Conditions.Age != nil {
		p.number(int64(*e.Conditions.Age))
	}
	for _, x := range e.Conditions.figures() {
		if p.flags(*x != nil); *x != nil {
			p.no = p.no || math.IsNaN(**x) || math.IsInf(**x, 0)
			p.figure(**x)
		}
	}
}

func (u *unpacker) counted() (e Counted) {
	is := u.flags(4)
	e.Late = is[0]
	for _, s := range []*string{&e.Press, &e.Defect, &e.Batch, &e.Day} {
		*s = u.text()
	}
	e.Add, e.Minute = u.number(), u.time()
	if is[1] {
		n := u.number()
		u.bad = u.bad || n < 0
		e.Counter = new(uint64(n))
	}
	if !is[2] {
		return e
	}
	e.Conditions = new(Conditions)
	for _, s := range e.Conditions.texts() {
		*s = u.text()
	}
	if is[3] {
		e.Conditions.Age = new(time.Duration(u.number()))
	}
	for _, x := range e.Conditions.figures() {
		if u.flags(1)[0] {
			*x = new(u.figure())
		}
	}
	return e
}

// packer writes fields one after another. no: something cannot be packed.
type packer struct {
	out []byte
	no  bool
}

func (p *packer) begin() {
	if p.out == nil {
		p.out = append(make([]byte, 0, 128), packedBodies)
	}
}

func (p *packer) number(n int64) { p.begin(); p.out = binary.AppendVarint(p.out, n) }

func (p *packer) figure(x float64) {
	p.begin()
	p.out = binary.LittleEndian.AppendUint64(p.out, math.Float64bits(x))
}

func (p *packer) text(s string) {
	p.begin()
	p.out = append(binary.AppendUvarint(p.out, uint64(len(s))), s...)
}

// time writes the nanoseconds since 1970, and 0 for the zero time. The zone of a time is not written.
func (p *packer) time(t time.Time) {
	if t.IsZero() {
		p.number(0)
		return
	}
	ns := t.UnixNano()
	if p.no = p.no || t.Location() != time.UTC || ns <= 0 || !time.Unix(0, ns).Equal(t); !p.no {
		p.number(ns)
	}
}

// flags writes at most eight.
func (p *packer) flags(flags ...bool) {
	p.begin()
	sum := byte(0)
	for i, f := range flags {
		if f {
			sum |= 1 << i
		}
	}
	p.out = append(p.out, sum)
}

// unpacker reads what a packer wrote. bad: the bytes are none of a packer's, and what was read means nothing.
type unpacker struct {
	rest []byte
	bad  bool
}

// take returns the next n bytes; zeros when there are not so many.
func (u *unpacker) take(n int) []byte {
	if n > len(u.rest) {
		u.bad = true
		u.rest = nil
		return make([]byte, min(n, 8))
	}
	b := u.rest[:n]
	u.rest = u.rest[n:]
	return b
}

func (u *unpacker) number() int64 {
	n, length := binary.Varint(u.rest)
	if length <= 0 {
		u.bad = true
		u.rest = nil
		return 0
	}
	u.rest = u.rest[length:]
	return n
}

func (u *unpacker) figure() float64 {
	x := math.Float64frombits(binary.LittleEndian.Uint64(u.take(8)))
	u.bad = u.bad || math.IsNaN(x) || math.IsInf(x, 0)
	return x
}

func (u *unpacker) text() string {
	n, length := binary.Uvarint(u.rest)
	if length <= 0 || n > uint64(len(u.rest)-length) {
		u.bad = true
		u.rest = nil
		return ""
	}
	u.rest = u.rest[length:]
	return string(u.take(int(n)))
}

func (u *unpacker) time() time.Time {
	ns := u.number()
	if ns == 0 {
		return time.Time{}
	}
	u.bad = u.bad || ns < 0
	return time.Unix(0, ns).UTC()
}

func (u *unpacker) flags(n int) []bool {
	b := u.take(1)[0]
	u.bad = u.bad || b>>n != 0
	out := make([]bool, n)
	for i := range out {
		out[i] = b>>i&1 == 1
	}
	return out
}
