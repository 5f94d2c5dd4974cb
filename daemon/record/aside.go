package record

import (
	"time"

	"potlifed/model/guide"
)

// KindTakenUp is the kind of [TakenUp].
const KindTakenUp Kind = "taken-up"

// TakenUp continues a mix on its scale. The mix that was weighed there before is set aside.
type TakenUp struct {
	Batch      string    `json:"batch" doc:"id of the batch"`
	Scale      string    `json:"scale" doc:"id of the scale"`
	WeightG    float64   `json:"weight_g" doc:"weight on the scale in g"`
	Expected   float64   `json:"expected_g" doc:"expected weight of the cup in g"`
	Recognised bool      `json:"recognised,omitempty" doc:"the cup was recognised by its weight; nobody was asked"`
	Override   string    `json:"override,omitempty" doc:"reason for accepting another weight"`
	Mix        guide.Mix `json:"mix" doc:"state of the guided mix afterwards"`
}

func (TakenUp) Kind() Kind { return KindTakenUp }

func (e TakenUp) About() string { return e.Batch }

func (e TakenUp) apply(s *State, r Record) {
	s.setAside(e.Scale, e.Batch, r.Stamp.At)
	s.change(e.Batch, func(b *Batch) {
		b.Mix, b.AsideAt = numbered(e.Mix, b.Mix, r.Seq), time.Time{}
	})
}

// setAside sets aside all mixes of a scale but one. Their cups stand elsewhere, so the
// scale's readings no longer belong to them.
func (s *State) setAside(scale, but string, at time.Time) {
	s.changeAll(func(b *Batch) bool {
		if b.ID == but || b.Scale != scale || scale == "" || !b.AsideAt.IsZero() {
			return false
		}
		b.AsideAt = at
		return true
	})
}

// Aside reports whether the mix was set aside so that another could be weighed.
func (b *Batch) Aside() bool { return !b.AsideAt.IsZero() }
