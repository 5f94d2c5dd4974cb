package history

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Readings that have no row of their own yet are kept in a file beside the history: a commit of SQLite changes pages of
// its log's index too, some 25 kB for three sensors, and here it is a page. The file has parts one after the
// other, each with the readings of some minutes. A part begins with a mark that the history's table meta has too. The
// commit that gives the readings rows of their own changes the mark there, so that they count once, and the next part
// is written at the begin of the file. What follows the last part is of earlier hours.

// recentName is the file's name inside the data directory.
const recentName = "history.recent"

// A part is the mark, the length of what follows, its checksum with the mark and the length, and then for each sensor
// its name, the time of the first reading in ms since 1970 and the readings.
const (
	markBytes = 8
	partHead  = markBytes + 4 + 4
)

func newMark() string {
	var mark [markBytes]byte
	rand.Read(mark[:])
	return string(mark[:])
}

// metaRecent is where the table meta has the mark, in hexadecimal digits.
const metaRecent = "recent"

// markIn returns the mark that the table meta has; empty for none.
func markIn(value string) string {
	mark, err := hex.DecodeString(value)
	if err != nil || len(mark) != markBytes {
		return ""
	}
	return string(mark)
}

// putMark stores the mark of the parts that count from now on.
func putMark(tx *sql.Tx, mark string) error {
	return putMeta(tx, metaRecent, hex.EncodeToString([]byte(mark)))
}

// recentFile is the open file. Its zero value is not open.
type recentFile struct {
	file *os.File
	mark string
	end  int64 // of the parts that count
}

// openRecent opens the file for writing, and creates it if there is none.
func openRecent(dir, mark string) (recentFile, error) {
	f, err := os.OpenFile(filepath.Join(dir, recentName), os.O_CREATE|os.O_RDWR, 0o640)
	if err != nil {
		return recentFile{}, err
	}
	_, end, err := readRecent(dir, mark)
	if err != nil {
		return recentFile{}, errors.Join(err, f.Close())
	}
	return recentFile{f, mark, end}, nil
}

func (r *recentFile) close() error {
	if r.file == nil {
		return nil
	}
	return r.file.Close()
}

// add writes a part with what is new in chunks.
func (r *recentFile) add(chunks []*chunk) error {
	var body []byte
	for _, c := range chunks {
		if len(c.readings) == c.kept {
			continue
		}
		readings := c.readings[c.kept:]
		body = appendBytes(body, []byte(c.sensor))
		body = binary.AppendVarint(body, readings[0].At.UnixMilli())
		body = appendBytes(body, encodeReadings(readings))
	}
	if len(body) == 0 {
		return nil
	}
	part := binary.BigEndian.AppendUint32([]byte(r.mark), uint32(len(body)))
	part = binary.BigEndian.AppendUint32(part, crc32.Update(crc32.ChecksumIEEE(part), crc32.IEEETable, body))
	part = append(part, body...)
	if _, err := r.file.WriteAt(part, r.end); err != nil {
		return err
	}
	r.end += int64(len(part))
	return nil
}

// begin lets the next part be the first one.
func (r *recentFile) begin(mark string) { r.mark, r.end = mark, 0 }

func appendBytes(to, b []byte) []byte { return append(binary.AppendUvarint(to, uint64(len(b))), b...) }

// sensorReadings are consecutive readings of a sensor.
type sensorReadings struct {
	sensor   string
	readings []Reading
}

// readRecent returns the readings that the file of a directory has for a mark, and where they end. There may be no file.
func readRecent(dir, mark string) (found []sensorReadings, end int64, err error) {
	data, err := os.ReadFile(filepath.Join(dir, recentName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, 0, fmt.Errorf("history: read the newest readings: %w", err)
	}
	found, end = recentIn(data, mark)
	return found, end, nil
}

// recentIn returns the readings in the parts that have a mark, up to the first that is not as it was written.
func recentIn(data []byte, mark string) (found []sensorReadings, end int64) {
	for len(mark) == markBytes {
		rest := data[end:]
		if len(rest) < partHead || string(rest[:markBytes]) != mark {
			break
		}
		length := int64(binary.BigEndian.Uint32(rest[markBytes:]))
		if length > int64(len(rest)-partHead) {
			break
		}
		body := rest[partHead : partHead+length]
		if crc32.Update(crc32.ChecksumIEEE(rest[:markBytes+4]), crc32.IEEETable, body) != binary.BigEndian.Uint32(rest[markBytes+4:]) {
			break
		}
		some, err := decodePart(body)
		if err != nil {
			break
		}
		found = append(found, some...)
		end += partHead + length
	}
	return found, end
}

func decodePart(body []byte) (found []sensorReadings, err error) {
	d := decoder{rest: body}
	for len(d.rest) > 0 && !d.failed {
		sensor := string(d.bytes(d.unsigned(int64(len(d.rest)))))
		starts, n := binary.Varint(d.rest)
		if d.failed || n <= 0 {
			return nil, errBody
		}
		d.rest = d.rest[n:]
		readings, err := decodeReadings(time.UnixMilli(starts).UTC(), d.bytes(d.unsigned(int64(len(d.rest)))))
		if err != nil {
			return nil, err
		}
		found = append(found, sensorReadings{sensor, readings})
	}
	if d.failed {
		return nil, errBody
	}
	return found, nil
}

// recent takes up the readings that have no row of their own yet: those in the file, after those in the table, where a
// copy and earlier versions have them.
func (h *History) recent(ctx context.Context, mark string) error {
	found, err := h.store.inTable(ctx)
	if err != nil {
		return err
	}
	more, _, err := readRecent(h.settings.Dir, mark)
	if err != nil {
		return err
	}
	var taken waiting
	for _, f := range append(found, more...) {
		for _, r := range f.readings {
			c := taken.chunkFor(f.sensor, r, false, 0)
			c.readings = append(c.readings, r)
			c.kept++
		}
	}
	for _, c := range taken.chunks {
		if h.waiting.since.IsZero() {
			h.waiting.since = c.readings[0].At
		}
	}
	h.waiting.chunks = append(taken.chunks, h.waiting.chunks...)
	return nil
}

// inTable returns the readings of the table recent.
func (s *store) inTable(ctx context.Context) (found []sensorReadings, err error) {
	rows, err := s.read.QueryContext(ctx, `SELECT s.name, r.starts, r.body FROM recent r JOIN series s ON s.id = r.series ORDER BY r.id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var f sensorReadings
		var starts int64
		var body []byte
		if err := rows.Scan(&f.sensor, &starts, &body); err != nil {
			return nil, err
		}
		if f.readings, err = decodeReadings(time.UnixMilli(starts).UTC(), body); err != nil {
			return nil, err
		}
		found = append(found, f)
	}
	return found, rows.Err()
}
