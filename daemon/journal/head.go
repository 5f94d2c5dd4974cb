package journal

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
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
	// waiting are the newest records, which are not in the journal's file yet: steps of air and reports. A
	// start takes them into the file.
	waiting []row
}

const (
	// headSlot is the size of one of the two slots of the file, a page of a card. They are written in turn:
	// a write that is torn leaves the other.
	headSlot = 4096
	// headLine is the part of a slot with the line of text; the records that wait come after it.
	headLine = 512
	// earlierSlot is the size that slots had before layout 9.
	earlierSlot = 512
)

// headWriter writes heads. Without records that wait it doesn't wait for the disk: a head that is some
// seconds old says less than the journal has, which is no fault. The group itself is on disk before its head
// is written.
type headWriter struct {
	file *os.File
	turn int64
}

// openHead opens the file for writing, and creates it if there is none.
func openHead(dir string) (*headWriter, error) {
	f, err := os.OpenFile(filepath.Join(dir, headFile), os.O_CREATE|os.O_RDWR, 0o640)
	if err != nil {
		return nil, err
	}
	if err := syncDir(dir); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &headWriter{file: f}, nil
}

// errFull is the error of write for more records than a slot takes.
var errFull = errors.New("too many records wait")

// write writes a head, to the disk when records wait in it.
func (w *headWriter) write(h head) error {
	line := fmt.Appendf(nil, "%s %d %d %s", h.id, h.place, h.seq, hex.EncodeToString(h.link))
	line = fmt.Appendf(line, " %08x\n", crc32.ChecksumIEEE(line))
	slot := append(line, bytes.Repeat([]byte{' '}, headLine-len(line))...)
	slot[headLine-1] = '\n'
	if len(h.waiting) > 0 {
		rows := packRows(h.waiting)
		slot = binary.BigEndian.AppendUint32(slot, uint32(len(rows)))
		slot = binary.BigEndian.AppendUint32(slot, crc32.ChecksumIEEE(append(line[:len(line):len(line)], rows...)))
		slot = append(slot, rows...)
	}
	if len(slot) > headSlot {
		return errFull
	}
	slot = append(slot, make([]byte, headSlot-len(slot))...)
	if _, err := w.file.WriteAt(slot, w.turn*headSlot); err != nil {
		return err
	}
	if len(h.waiting) > 0 {
		if err := w.sync(); err != nil {
			return err
		}
	}
	w.turn = 1 - w.turn
	return nil
}

// sync brings the newest head to disk.
func (w *headWriter) sync() error { return w.file.Sync() }

func (w *headWriter) close() error {
	if w == nil {
		return nil
	}
	return errors.Join(w.file.Sync(), w.file.Close())
}

// readHead returns the furthest readable head of a directory. ok is false when there is none: the
// journal is of before heads were stored, or the file cannot be read.
func readHead(dir string) (h head, ok bool, err error) {
	data, err := os.ReadFile(filepath.Join(dir, headFile))
	if errors.Is(err, fs.ErrNotExist) {
		return head{}, false, nil
	}
	if err != nil {
		return head{}, false, err
	}
	size := headSlot
	if len(data) <= 2*earlierSlot {
		size = earlierSlot
	}
	for at := 0; at < len(data); at += size {
		if found, good := parseHead(data[at:min(at+size, len(data))]); good && (!ok || found.place > h.place) {
			h, ok = found, true
		}
	}
	if !ok && len(data) > 0 {
		err = fmt.Errorf("%s holds no readable line", headFile)
	}
	return h, ok, err
}

func parseHead(slot []byte) (h head, ok bool) {
	line, _, _ := bytes.Cut(slot, []byte("\n"))
	const sum = len(" 01234567")
	if len(line) < sum {
		return h, false
	}
	content, check := line[:len(line)-sum], line[len(line)-sum:]
	if !bytes.Equal(check, fmt.Appendf(nil, " %08x", crc32.ChecksumIEEE(content))) {
		return h, false
	}
	var link string
	if _, err := fmt.Sscanf(string(content), "%s %d %d %s", &h.id, &h.place, &h.seq, &link); err != nil {
		return h, false
	}
	h.link, _ = hex.DecodeString(link)
	if len(h.link) != hashBytes || h.place < 0 {
		return h, false
	}
	const begins = headLine + 8
	if len(slot) < begins || binary.BigEndian.Uint32(slot[headLine:]) == 0 {
		return h, true
	}
	n := int(binary.BigEndian.Uint32(slot[headLine:]))
	if n > len(slot)-begins {
		return h, false
	}
	rows := slot[begins : begins+n]
	if crc32.ChecksumIEEE(append(append(bytes.Clone(line), '\n'), rows...)) != binary.BigEndian.Uint32(slot[headLine+4:]) {
		return h, false
	}
	h.waiting, ok = unpackRows(rows)
	return h, ok
}
