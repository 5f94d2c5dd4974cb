package journal

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"potlifed/daemon/whole"
)

// headFile is the name of the file, beside the journal, that says how far the journal goes.
const headFile = "journal.head"

// head says how far a journal goes. It is stored outside of the journal, so that a journal that
// was cut short, emptied, removed or replaced is noticed.
type head struct {
	id    string
	place int64  // of the newest record
	seq   uint64 // of the newest event
	link  []byte // the hash of that event
	// file is the place of the newest record in the journal's file, which what waits follows.
	file int64
	// waiting are the newest records, which are not in the journal's file yet, by their places. A start takes
	// them into the file.
	waiting []row
	// cursors are those that are not in the file.
	cursors map[string]uint64
}

const (
	// headPage is the size of a page of the file, a page of a card. Pages come in pairs that are written in
	// turn: a write that is torn leaves the other. A page whose pair is followed by another is not written
	// again before all that waits is in the journal's file.
	headPage = 4096
	// headPairs is how many pairs there are at most.
	headPairs = 40
	// headBytes is the size of the file.
	headBytes = 2 * headPairs * headPage
	// headLine is the part of a page with the line of text; records that wait come after it.
	headLine = 512
	// earlierSlot is the size that pages had before layout 9.
	earlierSlot = 512
)

// headWriter writes heads. Without records that wait it doesn't wait for the disk: a head that is some
// seconds old says less than the journal has, which is no fault. The group itself is on disk before its head
// is written.
type headWriter struct {
	file *os.File
	turn int64
	at   pages
}

// pages are those with the records that wait.
type pages struct {
	file int64 // as of head
	pair int64 // the one that is written
	from int   // the first of the records in it
	upTo int   // how many wait on disk
}

// openHead opens the file for writing, and creates it if there is none.
func openHead(dir string) (*headWriter, error) {
	f, err := os.OpenFile(filepath.Join(dir, headFile), os.O_CREATE|os.O_RDWR, 0o640)
	if err != nil {
		return nil, err
	}
	extend(f)
	if err := whole.SyncDir(dir); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &headWriter{file: f}, nil
}

// extend gives the file of the head its full size, if the disk has room for it: a file that grows has its metadata
// written with each sync. It writes one page at a time, since Linux keeps what was written at once together, and counts
// all of it as written when a part of it is.
func extend(f *os.File) {
	info, err := f.Stat()
	if err != nil || info.Size() >= headBytes {
		return
	}
	for at := info.Size(); err == nil && at < headBytes; at += headPage {
		_, err = f.WriteAt(make([]byte, headPage), at)
	}
	_ = f.Sync() // else the first pages that wait bring the size to disk
}

// errFull is the error of write for more records than the pages take.
var errFull = errors.New("too many records wait")

// write writes a head, to the disk when records wait in it. The records that follow the same place of the file are those of
// the last call and more. What is new goes into one page, so that it is on disk as a whole or not at all.
func (w *headWriter) write(h head) error {
	at := w.at
	if h.file != at.file || len(h.waiting) == 0 {
		at = pages{file: h.file}
	}
	page, ok := h.page(h.waiting[at.from:])
	if !ok && at.upTo > at.from { // the new ones into the next pair
		at.pair, at.from = at.pair+1, at.upTo
		page, ok = h.page(h.waiting[at.from:])
	}
	if !ok || at.pair == headPairs {
		return errFull
	}
	if _, err := w.file.WriteAt(page, (2*at.pair+w.turn)*headPage); err != nil {
		return err
	}
	if len(h.waiting) > 0 {
		if err := w.sync(); err != nil {
			return err
		}
	}
	at.upTo = len(h.waiting)
	w.turn, w.at = 1-w.turn, at
	return nil
}

// page returns the page that says how far the journal goes, with some of what waits; ok is false for more than
// fits.
func (h head) page(waiting []row) (page []byte, ok bool) {
	line := fmt.Appendf(nil, "%s %d %d %s %d", h.id, h.place, h.seq, hex.EncodeToString(h.link), h.file)
	for _, name := range slices.Sorted(maps.Keys(h.cursors)) { // what does not fit is noted by a later commit
		if of := fmt.Sprintf(" %d=%s", h.cursors[name], url.PathEscape(name)); len(line)+len(of) < headLine-16 {
			line = append(line, of...)
		}
	}
	line = fmt.Appendf(line, " %08x\n", crc32.ChecksumIEEE(line))
	page = append(line, bytes.Repeat([]byte{' '}, headLine-len(line))...)
	page[headLine-1] = '\n'
	if len(waiting) > 0 {
		rows := packRows(waiting)
		page = binary.BigEndian.AppendUint32(page, uint32(len(rows)))
		page = binary.BigEndian.AppendUint32(page, crc32.ChecksumIEEE(append(line[:len(line):len(line)], rows...)))
		page = append(page, rows...)
	}
	if len(page) > headPage {
		return nil, false
	}
	return append(page, make([]byte, headPage-len(page))...), true
}

// sync brings the newest head to disk.
func (w *headWriter) sync() error { return syncData(w.file) }

func (w *headWriter) close() error {
	if w == nil {
		return nil
	}
	return errors.Join(w.file.Sync(), w.file.Close())
}

// readHead returns the furthest readable head of a directory. ok is false when there is none: the
// journal is of before heads were stored, or the file cannot be read.
func readHead(dir string) (h head, ok bool, err error) {
	for range 3 {
		data, err := os.ReadFile(filepath.Join(dir, headFile))
		if errors.Is(err, fs.ErrNotExist) {
			return head{}, false, nil
		}
		if err != nil {
			return head{}, false, err
		}
		if h, ok = headIn(data); !ok && len(data) > 0 {
			return h, ok, fmt.Errorf("%s holds no readable line", headFile)
		}
		if follow(h.waiting, h.file) {
			break
		} // else it was written while it was read, or is damaged
	}
	return h, ok, nil
}

// headIn returns the furthest head in the bytes of the file, with what waits in all pages that continue the same
// file of the journal.
func headIn(data []byte) (h head, ok bool) {
	size := headPage
	if len(data) <= 2*earlierSlot {
		size = earlierSlot
	}
	var pages []head
	for at := 0; at < len(data); at += size {
		if p, good := parseHead(data[at:min(at+size, len(data))]); good {
			pages = append(pages, p)
			if !ok || p.place > h.place || p.place == h.place && p.file > h.file {
				h, ok = p, true
			}
		}
	}
	h.waiting = nil
	for _, p := range pages {
		if p.id == h.id && p.file == h.file && p.place <= h.place {
			h.waiting = append(h.waiting, p.waiting...)
		}
	}
	slices.SortFunc(h.waiting, func(a, b row) int { return cmp.Compare(a.place, b.place) })
	h.waiting = slices.CompactFunc(h.waiting, func(a, b row) bool { return a.place == b.place }) // both pages of a pair have most
	return h, ok
}

// follow reports whether rows follow a place without a gap.
func follow(rows []row, place int64) bool {
	for _, r := range rows {
		if place++; r.place != place {
			return false
		}
	}
	return true
}

// parseHead returns what a page says.
func parseHead(page []byte) (h head, ok bool) {
	line, _, _ := bytes.Cut(page, []byte("\n"))
	const sum = len(" 01234567")
	if len(line) < sum {
		return h, false
	}
	content, check := line[:len(line)-sum], line[len(line)-sum:]
	if !bytes.Equal(check, fmt.Appendf(nil, " %08x", crc32.ChecksumIEEE(content))) {
		return h, false
	}
	var link string
	fields, _ := fmt.Sscanf(string(content), "%s %d %d %s %d", &h.id, &h.place, &h.seq, &link, &h.file)
	if fields < 4 {
		return h, false
	}
	h.link, _ = hex.DecodeString(link)
	if len(h.link) != hashBytes || h.place < 0 {
		return h, false
	}
	h.cursors = cursorsIn(string(content))
	const begins = headLine + 8
	if len(page) < begins || binary.BigEndian.Uint32(page[headLine:]) == 0 {
		if fields == 4 {
			h.file = h.place
		}
		return h, true
	}
	length := int(binary.BigEndian.Uint32(page[headLine:]))
	if length > len(page)-begins {
		return h, false
	}
	rows := page[begins : begins+length]
	if crc32.ChecksumIEEE(append(append(bytes.Clone(line), '\n'), rows...)) != binary.BigEndian.Uint32(page[headLine+4:]) {
		return h, false
	}
	h.waiting, ok = unpackRows(rows)
	if fields == 4 { // of an earlier version: this page has all that waits
		h.file = h.place - int64(len(h.waiting))
	}
	return h, ok
}

// cursorsIn returns the cursors in the line of a page, which an earlier version did not write.
func cursorsIn(line string) map[string]uint64 {
	var found map[string]uint64
	for _, field := range strings.Fields(line) {
		number, escaped, is := strings.Cut(field, "=")
		name, err := url.PathUnescape(escaped)
		seq, bad := strconv.ParseInt(number, 10, 64)
		if !is || err != nil || bad != nil || seq < 0 {
			continue
		}
		if found == nil {
			found = map[string]uint64{}
		}
		found[name] = uint64(seq)
	}
	return found
}
