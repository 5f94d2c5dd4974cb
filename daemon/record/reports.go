package record

import (
	"maps"
	"slices"
	"time"
)

// ReportKeys are the keys of a minute's reports of prints and rejects, with the hashes of their
// requests. A press may report each print, so they are not kept for a day like other answers,
// and without the answer itself: a repetition is answered with the press as it is by then.
type ReportKeys struct {
	Minute time.Time         `json:"minute"`
	Hashes map[string]string `json:"hashes"`
}

// keptReportMinutes is how many minutes with reports have their keys kept. It is more than a
// report may be late.
const keptReportMinutes = 31

// WithReportKey returns the state with the key of a report of prints or rejects. Apply calls it
// for a record that carries an answer. The bench calls it for an answer that could only be encoded
// after its record was applied.
func (s State) WithReportKey(a Answer) State {
	minute := a.At.Truncate(time.Minute).UTC()
	s.ReportKeys = slices.Clone(s.ReportKeys)
	n := len(s.ReportKeys)
	if n == 0 || !s.ReportKeys[n-1].Minute.Equal(minute) {
		s.ReportKeys = append(s.ReportKeys, ReportKeys{Minute: minute})
		n++
	}
	of := &s.ReportKeys[n-1]
	of.Hashes = maps.Clone(of.Hashes)
	if of.Hashes == nil {
		of.Hashes = map[string]string{}
	}
	of.Hashes[a.Key] = a.Hash
	s.ReportKeys = s.ReportKeys[max(0, n-keptReportMinutes):]
	return s
}

// ReportHash returns the hash of the report that came with a key; ok is false for a key that no
// report had in the last half hour.
func (s State) ReportHash(key string) (hash string, ok bool) {
	for _, minute := range slices.Backward(s.ReportKeys) {
		if hash, ok = minute.Hashes[key]; ok {
			return hash, true
		}
	}
	return "", false
}
