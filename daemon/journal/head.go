package journal

import (
	"bytes"
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
}

// headSlot is the size of one of the two slots of the file. They are written in turn: a write
// that is torn leaves the other.
const headSlot = 512

// headWriter writes heads. It doesn't wait for the disk: a head that is some seconds, or some steps of air,
// old says less than the journal has, which is no fault. The group itself is on disk before its head is written.
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
	return &headWriter{file: f}, nil
}

func (w *headWriter) write(h head) error {
	line := fmt.Appendf(nil, "%s %d %d %s", h.id, h.place, h.seq, hex.EncodeToString(h.link))
	line = fmt.Appendf(line, " %08x\n", crc32.ChecksumIEEE(line))
	slot := append(line, bytes.Repeat([]byte{' '}, headSlot-len(line))...)
	slot[headSlot-1] = '\n'
	_, err := w.file.WriteAt(slot, w.turn*headSlot)
	w.turn = 1 - w.turn
	return err
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
	for at := 0; at < len(data); at += headSlot {
		if found, good := parseHead(data[at:min(at+headSlot, len(data))]); good && (!ok || found.place > h.place) {
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
	return h, len(h.link) == hashBytes && h.place >= 0
}
