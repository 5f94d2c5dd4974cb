package record

import "potlifed/model/guide"

// The kinds about a mix that is poured into another cup while it is made.
const (
	KindPourOverBegun Kind = "pour-over-begun"
	KindPouredOver    Kind = "poured-over"
)

// PourOverBegun records that a mix waits to be poured into another cup, or with Undo that it stays in its old one.
type PourOverBegun struct {
	Batch     string    `json:"batch" doc:"id of the batch"`
	From      string    `json:"from" doc:"id of the kind of the old cup"`
	To        string    `json:"to,omitempty" doc:"id of the kind of the new cup; absent with undo"`
	EmptyG    float64   `json:"empty_g,omitempty" doc:"weight of the new cup in g; absent when it must be weighed first"`
	NotTakenG float64   `json:"not_taken_g,omitempty" doc:"mass in g that is in the cup and was not taken yet"`
	WeightG   float64   `json:"weight_g,omitempty" doc:"weight on the scale in g, with the old cup on it; absent when only another new cup was named"`
	Undo      bool      `json:"undo,omitempty" doc:"nothing was poured over; the mix stays in its old cup"`
	Mix       guide.Mix `json:"mix" doc:"state of the guided mix afterwards"`
}

// PouredOver records that a mix is in another cup. Nothing was poured in by it: what stayed in the old cup is missing
// from each part in proportion. Age and spent life stay as they are.
type PouredOver struct {
	Batch     string    `json:"batch" doc:"id of the batch"`
	From      string    `json:"from" doc:"id of the kind of the old cup"`
	To        string    `json:"to" doc:"id of the kind of the new cup"`
	EmptyG    float64   `json:"empty_g" doc:"weight of the new cup in g"`
	WeightG   float64   `json:"weight_g" doc:"weight on the scale in g, with the new cup on it"`
	BeforeG   float64   `json:"before_g" doc:"mass of the content of the old cup in g"`
	AfterG    float64   `json:"after_g" doc:"mass of the content of the new cup in g, by the scale"`
	LostG     float64   `json:"lost_g" doc:"mass in g that stayed in the old cup"`
	NotTakenG float64   `json:"not_taken_g" doc:"mass in g that is in the new cup and is not taken yet"`
	Override  string    `json:"override,omitempty" doc:"reason for going on although so much was lost, or although another mix's cup weighs the same"`
	Solvent   Solvent   `json:"solvent" doc:"what the evaporation of thinner is estimated from in the new cup"`
	Mix       guide.Mix `json:"mix" doc:"state of the guided mix afterwards"`
}

func (PourOverBegun) Kind() Kind      { return KindPourOverBegun }
func (PouredOver) Kind() Kind         { return KindPouredOver }
func (e PourOverBegun) About() string { return e.Batch }
func (e PouredOver) About() string    { return e.Batch }

func (e PourOverBegun) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) { b.Mix = numbered(e.Mix, b.Mix, r.Seq) })
}

func (e PouredOver) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix, b.Cup, b.Basis.Solvent = numbered(e.Mix, b.Mix, r.Seq), e.To, e.Solvent
	})
}
