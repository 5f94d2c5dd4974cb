package scale

import "potlifed/model/weigh"

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// takeNumber takes the digits of a weight, or what is in their place when it is out of range.
func (m *match) takeNumber(e *element) error {
	if m.takeFill() {
		return nil
	}
	if e.backward {
		return m.takeBackward()
	}
	from, digits, separator := m.pos, 0, -1
	run, grouped := 0, false // digits since the last mark for thousands, and whether there was one
	for ; m.pos < len(m.line); m.pos++ {
		c := m.line[m.pos]
		if isDigit(c) {
			if digits++; digits > maxDigits {
				return ErrUnknown
			}
			if separator < 0 {
				run++
			}
			m.mantissa = 10*m.mantissa + uint64(c-'0')
			continue
		}
		if c == e.groups && c != 0 && separator < 0 && run > 0 && run <= 3 && (run == 3 || !grouped) && (c != ' ' || m.groupFollows()) {
			run, grouped = 0, true
			continue
		}
		if c != '.' && c != ',' || separator >= 0 || c == e.groups {
			break
		}
		if c == e.ends && digits > 0 && (e.shift > 0 || m.pos+1 == len(m.line) || !isDigit(m.line[m.pos+1])) {
			break // it parts the weight from what follows
		}
		separator = m.pos
	}
	end := m.pos
	if e.bracket && m.takeBracket(&digits) {
		end = m.pos - 2 // the brackets are no digits
	}
	if e.groups != 0 && (run > 3 || grouped && run != 3) {
		return ErrUnknown // a digit or a mark was lost
	}
	// A digit must be on both sides of the decimal mark. Without one, a part of the number may
	// have been lost. A pattern that fixes the decimals may do without the one before it.
	if digits == 0 || separator == from && e.decimals == 0 || separator == end-1 {
		return ErrUnknown
	}
	if separator >= 0 {
		m.decimals = end - 1 - separator
	}
	if e.decimals > 0 && m.decimals != e.decimals || e.exponent && !m.takeExponent() {
		return ErrUnknown
	}
	if m.line[from] == '0' && end-from > 1 && separator != from+1 {
		m.padded = true
	}
	m.hasNumber = true
	return nil
}

// groupFollows reports whether exactly three digits follow the present character.
func (m *match) groupFollows() bool {
	rest := m.line[m.pos+1:]
	return len(rest) >= 3 && isDigit(rest[0]) && isDigit(rest[1]) && isDigit(rest[2]) && (len(rest) == 3 || !isDigit(rest[3]))
}

// takeBracket takes a last digit in square brackets, and reports whether there was one.
func (m *match) takeBracket(digits *int) bool {
	rest := m.line[m.pos:]
	if len(rest) < 3 || rest[0] != '[' || !isDigit(rest[1]) || rest[2] != ']' || *digits >= maxDigits {
		return false
	}
	m.mantissa = 10*m.mantissa + uint64(rest[1]-'0')
	m.pos += 3
	*digits++
	return true
}

// takeExponent takes the power of ten behind a number, and reports whether it is one that a weight can
// have.
func (m *match) takeExponent() bool {
	if c := m.peek(); c != 'E' && c != 'e' {
		return false
	}
	m.pos++
	below := m.peek() == '-'
	if below || m.peek() == '+' {
		m.pos++
	}
	power, from := 0, m.pos
	for ; isDigit(m.peek()) && m.pos-from < 3; m.pos++ {
		power = 10*power + int(m.peek()-'0')
	}
	if m.pos == from || power > 9 {
		return false
	}
	if below {
		power = -power
	}
	m.decimals -= power
	return m.decimals <= maxDigits && (m.decimals >= 0 || float64(m.mantissa)*powers[-m.decimals] < powers[maxDigits])
}

// takeBackward takes a number whose last digit comes first.
func (m *match) takeBackward() error {
	digits, place, separator := 0, uint64(1), -1
	for ; ; m.pos++ {
		c := m.peek()
		switch {
		case isDigit(c):
			if digits++; digits > maxDigits {
				return ErrUnknown
			}
			m.mantissa += place * uint64(c-'0')
			place *= 10
			continue
		case (c == '.' || c == ',') && separator < 0 && digits > 0:
			separator = digits
			continue
		}
		break
	}
	if digits == 0 || separator == digits {
		return ErrUnknown
	}
	m.decimals = max(separator, 0)
	m.hasNumber = true
	return nil
}

// takePounds takes the whole pounds before the ounces.
func (m *match) takePounds() error {
	m.skipSpaces()
	if m.over || m.under {
		m.takeAnything()
		return nil
	}
	from := m.pos
	for ; isDigit(m.peek()) && m.pos-from <= 4; m.pos++ {
		m.pounds = 10*m.pounds + uint64(m.peek()-'0')
	}
	if m.pos == from || m.pos-from > 4 {
		return ErrUnknown
	}
	return nil
}

// takeBits takes a status whose bits have meanings.
func (m *match) takeBits(e *element) error {
	if len(m.line)-m.pos < e.width {
		return ErrUnknown
	}
	status := uint16(m.line[m.pos])
	if e.width > 1 {
		status = 0
		for i := m.pos; i < m.pos+e.width; i += 2 {
			value, ok := fromHex(m.line[i], m.line[i+1])
			if !ok {
				return ErrUnknown
			}
			status = status<<8 | uint16(value)
		}
	}
	m.pos += e.width
	stable, moving := false, false // whether one has a bit
	for bit, f := range e.bits {
		stable, moving = stable || f == stableField, moving || f == movingField
		if status>>bit&1 != 0 {
			m.means(f)
		}
	}
	switch {
	case m.stability != weigh.StabilityUnknown || stable == moving:
	case moving:
		m.stability = weigh.Stable
	default:
		m.stability = weigh.Moving
	}
	return nil
}
