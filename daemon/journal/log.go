package journal

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
)

// keptLog is the ending of a copy of the log. SQLite reads a log up to its first damaged frame and
// then throws all of it away, also the whole transactions behind that frame.
const keptLog = "-wal.kept"

// keepLog copies the log of a journal if it has a damaged frame. Whether something is missing is
// told by what was known outside of the file: a log also ends so after a power cut, in a
// transaction that nobody was told of.
func keepLog(path string) error {
	wal, err := openIfThere(path + "-wal")
	if err != nil || wal == nil {
		return err
	}
	data, err := io.ReadAll(wal)
	if err = errors.Join(err, wal.Close()); err != nil {
		return err
	}
	if there(path+keptLog) || wholeLog(data) {
		return nil
	}
	return os.WriteFile(path+keptLog, data, 0o640)
}

// wholeLog reports whether all frames of a log up to the last commit are as they were written
// (fileformat2, section 4.2).
func wholeLog(data []byte) bool {
	const header, frameHeader, magic = 32, 24, 0x377f0682
	if len(data) < header {
		return len(data) == 0
	}
	var order binary.ByteOrder = binary.LittleEndian
	switch binary.BigEndian.Uint32(data) {
	case magic:
	case magic | 1:
		order = binary.BigEndian
	default:
		return false
	}
	a, b := logSum(order, 0, 0, data[:24])
	if a != binary.BigEndian.Uint32(data[24:]) || b != binary.BigEndian.Uint32(data[28:]) {
		return false
	}
	pageBytes := int(binary.BigEndian.Uint32(data[8:]))
	if pageBytes < 512 || pageBytes > 65536 {
		return false
	}
	salt := [8]byte(data[16:24])
	broken := false
	for at := header; at+frameHeader+pageBytes <= len(data); at += frameHeader + pageBytes {
		frame := data[at : at+frameHeader+pageBytes]
		if [8]byte(frame[8:16]) != salt {
			broken = true // or left from an earlier round: then no frame of this round follows
			continue
		}
		a, b = logSum(order, a, b, frame[:8])
		a, b = logSum(order, a, b, frame[frameHeader:])
		if a != binary.BigEndian.Uint32(frame[16:]) || b != binary.BigEndian.Uint32(frame[20:]) {
			broken = true
		}
		if commits := binary.BigEndian.Uint32(frame[4:]) != 0; commits && broken {
			return false
		}
	}
	return true
}

func logSum(order binary.ByteOrder, a, b uint32, data []byte) (uint32, uint32) {
	for ; len(data) >= 8; data = data[8:] {
		a += order.Uint32(data) + b
		b += order.Uint32(data[4:]) + a
	}
	return a, b
}
