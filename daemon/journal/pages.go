package journal

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
)

// What follows reads the pages of a damaged file without SQLite, which refuses a file whose first
// page or whose tree is damaged. It reads every leaf of every table that it meets, whether or not
// the tree still leads there. File format: sqlite.org/fileformat2.html, sections 1.6 (leaf pages),
// 2.1 (records) and 4.1 to 4.4 (the log).
//
// It guarantees only that it ends and that it returns nothing outside of the bytes given. Whether
// a row is one of ours, and as it was written, is told by its shape and its hash.

// pageBytes is the size of a page. A commit writes each page that it changes to the log as a whole,
// and a group changes few hundred bytes in each, so that smaller pages than SQLite's usual ones of 4096
// bytes, which earlier versions had, make it write less.
const (
	pageBytes        = 1024
	earlierPageBytes = 4096
)

// pageSizes returns of which sizes the pages of a file and its log may be: one where either says so,
// else all. Read in a wrong size no page has a row that is whole.
func pageSizes(file, wal *os.File) []int {
	known := func(n uint32) bool { return n == pageBytes || n == earlierPageBytes }
	top := make([]byte, 32)
	if file != nil {
		if _, err := file.ReadAt(top, 0); err == nil && string(top[:16]) == "SQLite format 3\x00" && known(uint32(binary.BigEndian.Uint16(top[16:]))) {
			return []int{int(binary.BigEndian.Uint16(top[16:]))}
		}
	}
	if wal != nil {
		if _, err := wal.ReadAt(top, 0); err == nil && known(binary.BigEndian.Uint32(top[8:])) {
			return []int{int(binary.BigEndian.Uint32(top[8:]))}
		}
	}
	return []int{pageBytes, earlierPageBytes}
}

// images calls each for every image of a page: those of the log, newest first and up to its last
// commit, then those of the file. overflow returns a page as it is now.
func images(path string, each func(page []byte, first bool, overflow func(n uint32) []byte) error) error {
	file, err := openIfThere(path)
	if err != nil {
		return err
	}
	wal, err := openIfThere(path + "-wal")
	if err != nil {
		return errors.Join(err, closeAll(file))
	}
	for _, size := range pageSizes(file, wal) {
		if err == nil {
			err = walk(file, wal, size, each)
		}
	}
	return errors.Join(err, closeAll(file, wal))
}

// openIfThere returns nil for a file that does not exist or is none.
func openIfThere(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && !info.Mode().IsRegular() {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return os.Open(path)
}

func closeAll(files ...*os.File) (err error) {
	for _, f := range files {
		if f != nil {
			err = errors.Join(err, f.Close())
		}
	}
	return err
}

func walk(file, wal *os.File, pageBytes int, each func([]byte, bool, func(uint32) []byte) error) error {
	frames := committed(wal, int64(pageBytes))
	newest := map[uint32]int64{}
	for _, f := range frames {
		newest[f.page] = f.at
	}
	overflow := func(n uint32) []byte {
		page := make([]byte, pageBytes)
		if at, ok := newest[n]; ok {
			if _, err := wal.ReadAt(page, at); err == nil {
				return page
			}
		}
		if file == nil || n == 0 {
			return nil
		}
		if _, err := file.ReadAt(page, int64(n-1)*int64(pageBytes)); err != nil {
			return nil
		}
		return page
	}
	page := make([]byte, pageBytes)
	for i := len(frames) - 1; i >= 0; i-- {
		if _, err := wal.ReadAt(page, frames[i].at); err != nil {
			continue // a sector that cannot be read loses its page
		}
		if err := each(page, frames[i].page == 1, overflow); err != nil {
			return err
		}
	}
	if file == nil {
		return nil
	}
	size, err := file.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	for at := int64(0); at < size; at += int64(pageBytes) {
		clear(page)
		if n, _ := file.ReadAt(page, at); n == 0 {
			continue
		}
		if err := each(page, at == 0, overflow); err != nil {
			return err
		}
	}
	return nil
}

// frame is a page image in the log.
type frame struct {
	page uint32
	at   int64 // of the image
}

// committed returns the frames of the log, oldest first, up to the last commit. The sums of the
// frames are not looked at: SQLite ends at the first frame whose sum is wrong, and the rows behind
// it have hashes of their own.
func committed(wal *os.File, pageBytes int64) []frame {
	const walHeader, frameHeader = 32, 24
	if wal == nil {
		return nil
	}
	top := make([]byte, walHeader)
	if _, err := wal.ReadAt(top, 0); err != nil {
		return nil
	}
	const magic = 0x377f0682 // its last bit is the order of bytes of the sums
	salt := [8]byte(top[16:24])
	if first := make([]byte, frameHeader); binary.BigEndian.Uint32(top)&^1 != magic {
		if _, err := wal.ReadAt(first, walHeader); err != nil {
			return nil
		}
		salt = [8]byte(first[8:16])
	}
	var frames []frame
	whole := 0
	b := make([]byte, frameHeader)
	for at := int64(walHeader); ; at += frameHeader + pageBytes {
		if n, err := wal.ReadAt(b, at); n < frameHeader || err != nil {
			break
		}
		if [8]byte(b[8:16]) != salt {
			continue // left from an earlier round of the log, or damaged
		}
		frames = append(frames, frame{binary.BigEndian.Uint32(b), at + frameHeader})
		if binary.BigEndian.Uint32(b[4:]) != 0 {
			whole = len(frames)
		}
	}
	return frames[:whole]
}

// value is a column of a row: nil, int64, float64, string or []byte.
type value = any

// leaf calls each for the rows of a page of a table, and nothing for another page.
func leaf(page []byte, first bool, overflow func(uint32) []byte, each func(rowid int64, columns []value) error) error {
	const kindOfLeaf, leafHeader, fileHeader = 0x0d, 8, 100
	at := 0
	if first {
		at = fileHeader
	}
	if page[at] != kindOfLeaf {
		return nil
	}
	cells := int(binary.BigEndian.Uint16(page[at+3:]))
	for i := range cells {
		pointer := at + leafHeader + 2*i
		if pointer+2 > len(page) {
			return nil
		}
		rowid, payload, ok := cell(page, int(binary.BigEndian.Uint16(page[pointer:])), overflow)
		if !ok {
			continue
		}
		if columns, ok := columnsIn(payload); ok {
			if err := each(rowid, columns); err != nil {
				return err
			}
		}
	}
	return nil
}

// mostPayload bounds what a damaged length can ask for. A checkpoint of a large shop has two
// megabytes.
const mostPayload = 64 << 20

// cell returns the row at a place of a page, with what of it lies on other pages.
func cell(page []byte, at int, overflow func(uint32) []byte) (rowid int64, payload []byte, ok bool) {
	if at <= 0 || at >= len(page) {
		return 0, nil, false
	}
	size, n := varint(page[at:])
	id, m := varint(page[at+n:])
	at += n + m
	if n == 0 || m == 0 || size < 0 || size > mostPayload {
		return 0, nil, false
	}
	local, usable := int(size), len(page)
	if most := usable - 35; local > most { // fileformat2, 1.6: how much stays on the page
		least := (usable-12)*32/255 - 23
		local = least + (int(size)-least)%(usable-4)
		if local > most {
			local = least
		}
	}
	if at+local > len(page) {
		return 0, nil, false
	}
	payload = append(payload, page[at:at+local]...)
	if local == int(size) {
		return id, payload, true
	}
	if at+local+4 > len(page) {
		return 0, nil, false
	}
	next := binary.BigEndian.Uint32(page[at+local:])
	for len(payload) < int(size) {
		more := overflow(next)
		if more == nil {
			return 0, nil, false
		}
		payload = append(payload, more[4:min(usable, 4+int(size)-len(payload))]...)
		next = binary.BigEndian.Uint32(more)
	}
	return id, payload, true
}

// columnsIn returns the columns of a record.
func columnsIn(payload []byte) (columns []value, ok bool) {
	size, n := varint(payload)
	if n == 0 || size < int64(n) || size > int64(len(payload)) {
		return nil, false
	}
	types, body := payload[n:size], payload[size:]
	for len(types) > 0 {
		kind, n := varint(types)
		if n == 0 {
			return nil, false
		}
		types = types[n:]
		v, used, ok := column(kind, body)
		if !ok {
			return nil, false
		}
		columns, body = append(columns, v), body[used:]
	}
	return columns, true
}

func column(kind int64, body []byte) (v value, used int, ok bool) {
	switch {
	case kind == 0:
		return nil, 0, true
	case kind >= 1 && kind <= 6:
		used = []int{0, 1, 2, 3, 4, 6, 8}[kind]
		if used > len(body) {
			return nil, 0, false
		}
		var n int64
		if body[0] >= 0x80 {
			n = -1
		}
		for _, b := range body[:used] {
			n = n<<8 | int64(b)
		}
		return n, used, true
	case kind == 8, kind == 9:
		return kind - 8, 0, true
	case kind >= 12:
		used = int((kind - 12) / 2)
		if (kind-12)/2 > int64(len(body)) {
			return nil, 0, false
		}
		if kind%2 == 1 {
			return string(body[:used]), used, true
		}
		return append([]byte{}, body[:used]...), used, true
	}
	return nil, 0, false // a float, or a type that is reserved: no column of ours
}

// varint returns a number and how many bytes it takes, 0 where the bytes end before.
func varint(b []byte) (n int64, used int) {
	for i := range 9 {
		if i >= len(b) {
			return 0, 0
		}
		if i == 8 {
			return n<<8 | int64(b[i]), 9
		}
		n = n<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return n, i + 1
		}
	}
	return 0, 0
}
