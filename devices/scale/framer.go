package scale

// MaxLineBytes limits the length of a line. The common continuous formats have 10 to 22
// characters. Three times as many are noise, or the speed is wrong.
const MaxLineBytes = 64

// Characters that frame a line, from ASCII.
const (
	startOfText = 0x02
	endOfText   = 0x03
)

// Framer cuts a stream of bytes into lines. A line ends at CR, LF or ETX, or where STX begins
// the next one. Empty lines are skipped. Bytes between ETX and the next beginning or end of line
// belong to no line: some formats put a checksum there. The first line after the zero value or
// Restart may have begun earlier and counts as torn, unless an STX shows where it begins.
//
// A fault costs its own line only: after an overlong line everything is skipped up to the next
// end of line. Invariant: at most MaxLineBytes are stored.
//
// A framer for lines with a checksum after ETX keeps the ETX and the bytes of the checksum,
// whatever their values, as the end of the line.
type Framer struct {
	buf      [MaxLineBytes]byte
	n        int
	tail     int  // how many bytes after ETX belong to the line
	due      int  // how many of them are still to come
	synced   bool // the beginning of the present line was seen
	overlong bool // the present line passed its bound
	after    bool // between ETX and the next line
}

// Restart drops the present line: bytes are missing from here on.
func (f *Framer) Restart() { *f = Framer{tail: f.tail} }

// Interrupt must be called when bytes may be missing, such as after a silence. It drops a line
// that has begun. Between two lines it changes nothing, so the next line is read: a scale that
// seldom sends loses none.
func (f *Framer) Interrupt() {
	if f.n > 0 || f.overlong || f.due > 0 {
		f.Restart()
	}
}

// Feed takes bytes and calls line for each line that they complete, with a nil error, ErrTorn or
// ErrOverlong. The slice is valid during the call only; of an overlong line it holds the
// beginning.
func (f *Framer) Feed(p []byte, line func(line []byte, err error)) {
	for _, c := range p {
		if f.due > 0 {
			f.add(c)
			if f.due--; f.due == 0 {
				f.end(line, f.synced)
				f.after = true
			}
			continue
		}
		if c == endOfText && f.tail > 0 && f.n > 0 {
			f.add(c)
			f.due = f.tail
			continue
		}
		switch c {
		case '\r', '\n', endOfText:
			f.end(line, f.synced)
			f.after = c == endOfText
		case startOfText:
			// A line that is interrupted by another one has lost its end.
			f.end(line, false)
			f.after = false
		default:
			f.add(c)
		}
	}
}

func (f *Framer) add(c byte) {
	if f.after {
		return
	}
	if f.n == len(f.buf) {
		f.overlong = true
		return
	}
	f.buf[f.n] = c
	f.n++
}

func (f *Framer) end(line func([]byte, error), whole bool) {
	n, overlong := f.n, f.overlong
	f.n, f.overlong, f.synced = 0, false, true
	switch {
	case overlong:
		line(f.buf[:n], ErrOverlong)
	case n == 0:
	case !whole:
		line(f.buf[:n], ErrTorn)
	default:
		line(f.buf[:n], nil)
	}
}
