package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"hash"
)

// Each record has a hash of 16 bytes in two halves. The first half is over its own columns: it
// tells whether the record is as it was written, whatever became of its neighbours. The second
// half is over the hash of the last event before it and the first half: it tells whether an
// event in between is missing, or was replaced. The halves are cut from SHA-256. They guard
// against damage and not against a person who computes them.
const (
	hashBytes = 16
	halfHash  = hashBytes / 2
)

// seed stands for the event before the first one.
var seed = make([]byte, hashBytes)

// row is a record as it lies in the table. Nil slices and pointers are nulls.
type row struct {
	place  int64
	seq    *int64
	at     int64
	boot   string
	mono   int64
	synced int64
	kind   string
	by     string
	body   []byte
	answer []byte
	zone   *string
	starts *int64
	grain  int64
	hash   []byte
}

// own returns the first half of the hash of a row.
func (r row) own() []byte {
	h := sha256.New()
	number(h, r.place)
	optional(h, r.seq)
	number(h, r.at)
	text(h, []byte(r.boot))
	number(h, r.mono)
	number(h, r.synced)
	text(h, []byte(r.kind))
	text(h, []byte(r.by))
	text(h, r.body)
	number(h, int64(len(r.answer)))
	h.Write(r.answer)
	if r.zone == nil {
		number(h, -1)
	} else {
		text(h, []byte(*r.zone))
	}
	optional(h, r.starts)
	number(h, r.grain)
	return h.Sum(nil)[:halfHash]
}

// hashed returns the hash of a row that follows the event with the given hash.
func (r row) hashed(before []byte) []byte {
	own := r.own()
	return append(own, linked(before, own)...)
}

// linked returns the second half of a hash.
func linked(before, own []byte) []byte {
	sum := sha256.Sum256(append(bytes.Clone(before), own...))
	return sum[:halfHash]
}

// whole reports whether a row is as it was written. A row of before hashes were stored counts as
// whole.
func (r row) whole() bool {
	return r.hash == nil || len(r.hash) == hashBytes && bytes.Equal(r.hash[:halfHash], r.own())
}

// follows reports whether a row follows the event with the given hash. Air that was thinned
// stands for several rows and follows no single event; nor does a row of before hashes were stored.
func (r row) follows(before []byte) bool {
	return r.hash == nil || r.grain != 0 || len(r.hash) == hashBytes && bytes.Equal(r.hash[halfHash:], linked(before, r.hash[:halfHash]))
}

// checkpointHash returns the hash of a checkpoint: over its place, the event that it follows and
// the state.
func checkpointHash(place, at, model int64, link, state []byte) []byte {
	h := sha256.New()
	number(h, place)
	number(h, at)
	number(h, model)
	text(h, link)
	text(h, state)
	return h.Sum(nil)[:hashBytes]
}

// The errors of a hash's Write are always nil.

func number(h hash.Hash, n int64) {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(n))
	h.Write(b[:])
}

func optional(h hash.Hash, n *int64) {
	if n == nil {
		h.Write([]byte{0})
		return
	}
	h.Write([]byte{1})
	number(h, *n)
}

// text writes bytes after their length, so that what one field loses the next cannot gain.
func text(h hash.Hash, b []byte) {
	number(h, int64(len(b)))
	h.Write(b)
}
