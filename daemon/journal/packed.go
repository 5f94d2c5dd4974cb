package journal

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// The state of a checkpoint is compressed JSON: a card sees a ninth of the bytes. The fastest level takes half of the
// time, which is some milliseconds, and leaves twice as many. The state of an earlier program is plain.

// mostState bounds what a state may unpack to: a large shop has two megabytes.
const mostState = 64 << 20

// packed returns a state as it is stored.
func packed(state any) ([]byte, error) {
	text, err := json.Marshal(state)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	to, err := gzip.NewWriterLevel(&out, gzip.DefaultCompression)
	if err != nil {
		return nil, err
	}
	if _, err := to.Write(text); err != nil {
		return nil, err
	}
	if err := to.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// unpacked returns the JSON of a stored state.
func unpacked(stored []byte) ([]byte, error) {
	if !bytes.HasPrefix(stored, []byte{0x1f, 0x8b}) {
		return stored, nil
	}
	from, err := gzip.NewReader(bytes.NewReader(stored))
	if err != nil {
		return nil, fmt.Errorf("unpack a state: %w", err)
	}
	text, err := io.ReadAll(io.LimitReader(from, mostState))
	if err = errors.Join(err, from.Close()); err != nil {
		return nil, fmt.Errorf("unpack a state: %w", err)
	}
	return text, nil
}
