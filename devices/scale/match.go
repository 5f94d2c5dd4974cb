package scale

import "potlifed/model/weigh"

// match is the decoding of one line along a pattern. It goes from left to right and never back.
// Invariant: line[:pos] is matched by the elements so far.
type match struct {
	line    []byte
	pos     int
	assumed unit

	negative  bool
	mantissa  uint64
	pounds    uint64 // before ounces
	decimals  int
	variable  uint8 // which lengths the marks and the skipped parts have; see varies
	hasNumber bool
	padded    bool
	unit      unit
	unitless  bool // the line could carry a unit and does not
	stability weigh.Stability
	tare      weigh.Tare
	over      bool
	under     bool
}

// maxDigits keeps every weight exact in a float64.
const maxDigits = 12

// run matches the whole line. The error says why it does not match.
func (m *match) run(elements []element) error {
	for i := range elements {
		// A scale that is out of range may leave out everything that it cannot know.
		if (m.over || m.under) && m.atEnd() {
			return nil
		}
		if err := m.step(&elements[i]); err != nil {
			return err
		}
	}
	if m.atEnd() {
		return nil
	}
	if m.unitless && unitLike(m.line[m.pos]) {
		return ErrUnit
	}
	return ErrUnknown
}

func (m *match) step(e *element) error {
	switch e.kind {
	case spaceElement:
		m.skipSpaces()
	case literalElement:
		if m.peek() != e.literal {
			return ErrUnknown
		}
		m.pos++
	case signElement:
		return m.takeSign(e)
	case weightElement:
		if err := m.takeWeight(e); err != nil || e.shift == 0 || !m.hasNumber {
			return err
		}
		if m.decimals > 0 {
			return ErrUnknown // it has a decimal mark
		}
		m.decimals = e.shift
	case unitElement:
		return m.takeUnit(e)
	case markElement:
		return m.takeMark(e.marks)
	case skipElement:
		return m.skip(e)
	case padElement:
		from := m.pos
		for m.peek() == e.literal {
			m.pos++
		}
		m.padded = m.padded || m.pos-from > 1
	case bitsElement:
		return m.takeBits(e)
	case poundsElement:
		return m.takePounds()
	}
	return nil
}

// skip passes over a part that means nothing here.
func (m *match) skip(e *element) error {
	from := m.pos
	if e.width > 0 {
		if m.pos += e.width; m.pos > len(m.line) {
			return ErrUnknown
		}
		return nil
	}
	for c := m.peek(); c != 0 && c != ' ' && c != '\t' && c != e.literal; c = m.peek() {
		m.pos++
	}
	if m.pos == from {
		return ErrUnknown
	}
	m.varies(m.pos - from)
	return nil
}

// varies takes the length of a mark or a skipped part, which are not of one length. Their sum would not do: a
// padded part that is one byte shorter, with a mark of one byte more, makes a longer line.
func (m *match) varies(length int) { m.variable = 5*m.variable + uint8(length) }

// peek returns the next byte, 0 at the end. No line contains a 0.
func (m *match) peek() byte {
	if m.pos < len(m.line) {
		return m.line[m.pos]
	}
	return 0
}

func (m *match) skipSpaces() int {
	from := m.pos
	for m.peek() == ' ' || m.peek() == '\t' {
		m.pos++
	}
	return m.pos - from
}

// atEnd reports whether only spaces are left.
func (m *match) atEnd() bool {
	for _, c := range m.line[m.pos:] {
		if c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}

func (m *match) takeSign(e *element) error {
	if e.trailing {
		return m.takeTrailingSign(e.required)
	}
	if e.oneChar {
		c := m.peek()
		if c != '-' && c != '+' && (c != ' ' || e.required) {
			return ErrUnknown
		}
		m.negative = c == '-'
		m.pos++
		return nil
	}
	spaces := m.skipSpaces()
	if !m.signed() && e.required {
		return ErrUnknown
	}
	m.padded = m.padded || spaces > 1
	return nil
}

func (m *match) takeTrailingSign(required bool) error {
	if !m.signed() && required && !m.over && !m.under {
		return ErrUnknown
	}
	return nil
}

// signed takes a sign and reports whether there was one.
func (m *match) signed() bool {
	c := m.peek()
	if c != '-' && c != '+' {
		return false
	}
	m.negative = m.negative || c == '-'
	m.pos++
	return true
}

// takeWeight takes the number, or what is in its place when the weight is out of range.
func (m *match) takeWeight(e *element) error {
	width := e.width
	if width == 0 {
		m.padded = m.skipSpaces() > 1 || m.padded
		if m.over || m.under {
			m.takeAnything()
			return nil
		}
		return m.takeNumber(e)
	}
	if len(m.line)-m.pos < width {
		return ErrUnknown
	}
	whole, end := m.line, m.pos+width
	if m.over || m.under {
		m.pos = end
		return nil
	}
	m.line = whole[:end]
	m.skipSpaces()
	if c := m.peek(); c == '-' || c == '+' {
		m.negative = m.negative || c == '-'
		m.pos++
		m.skipSpaces()
	}
	err := m.takeNumber(e)
	if err == nil && (m.over || m.under) {
		m.skipSpaces()
	}
	if err == nil && m.pos != end {
		err = ErrUnknown
	}
	m.line, m.pos = whole, end
	return err
}

// takeAnything skips what is in the place of the weight once a mark has said that it is out of
// range.
func (m *match) takeAnything() {
	for {
		switch c := m.peek(); {
		case c >= '0' && c <= '9', c == '.', c == ',', c == '-', c == '_', c == '^', c == 'H', c == 'L', c == 'O', c == 'U':
			m.pos++
		default:
			return
		}
	}
}

// takeFill takes what scales show in place of a weight that is out of range: OL, H, HHH, ^^^ or
// dashes above it, UL, L, LLL or ___ below. Dashes count as above because that is what they
// mostly mean. There is no weight in either case.
func (m *match) takeFill() bool {
	from := m.pos
	switch c := m.peek(); c {
	case 'O', 'U':
		if m.pos+1 < len(m.line) && m.line[m.pos+1] == 'L' {
			m.pos += 2
		}
	case 'H', 'L', '^', '_', '-':
		for m.peek() == c || c == '-' && m.pos > from && m.peek() == '.' {
			m.pos++
		}
		if (c == '^' || c == '_' || c == '-') && m.pos-from < 2 {
			m.pos = from
		}
	}
	if m.pos == from {
		return false
	}
	if c := m.peek(); c >= '0' && c <= '9' {
		m.pos = from
		return false
	}
	switch m.line[from] {
	case 'U', 'L', '_':
		m.under = true
	default:
		m.over = true
	}
	return true
}

func (m *match) takeUnit(e *element) error {
	if e.declared != noUnit {
		return nil // it is assumed
	}
	from := m.pos
	found, length := readUnit(m.line[m.pos:])
	m.pos += length
	if found != noUnit && (e.glued || !unitLike(m.peek())) {
		m.unit = found
		return nil
	}
	m.pos = from
	if e.optional {
		m.unitless = true
		return nil
	}
	if unitLike(m.peek()) {
		return ErrUnit
	}
	return ErrUnknown
}

// unitLike reports whether a unit of any kind could start with c.
func unitLike(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '%'
}

func (m *match) takeMark(marks []mark) error {
	for i := range marks {
		text := marks[i].text
		if len(m.line)-m.pos < len(text) || string(m.line[m.pos:m.pos+len(text)]) != text {
			continue
		}
		m.pos += len(text)
		m.varies(marks[i].whole)
		m.means(marks[i].means)
		return nil
	}
	return ErrUnknown
}

// means takes what a mark or a bit says.
func (m *match) means(f field) {
	switch f {
	case stableField:
		m.stability = weigh.Stable
	case movingField:
		m.stability = weigh.Moving
	case netField:
		m.tare = weigh.Net
	case grossField:
		m.tare = weigh.Gross
	case overField:
		m.over = true
	case underField:
		m.under = true
	case minusField:
		m.negative = true
	}
}

// reading returns the reading of a match that reached the end.
func (m *match) reading() weigh.Reading {
	r := weigh.Reading{Stability: m.stability, Tare: m.tare, Over: m.over, Under: m.under}
	if m.over || m.under {
		return r
	}
	// Many balances leave the unit out until the weight is stable.
	if m.unitless && r.Stability == weigh.StabilityUnknown {
		r.Stability = weigh.Moving
	}
	counted := m.unit
	if counted == noUnit {
		counted = m.assumed
	}
	if !m.hasNumber || counted == noUnit {
		return r
	}
	r.HasWeight = true
	r.Grams = scaled(m.mantissa, m.decimals, counted) + float64(m.pounds)*gramsIn[pounds]
	if m.negative && r.Grams != 0 {
		r.Grams = -r.Grams
	}
	return r
}
