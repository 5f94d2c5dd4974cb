package cure

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"potlifed/model/air"
	"potlifed/model/viscosity"
)

// ensembleVersion is increased when the meaning of a stored ensemble changes.
const ensembleVersion = 1

// ensembleJSON is a stored ensemble: what was drawn and what has happened, without what can be
// calculated. The members are stored and not drawn again, so that an open batch continues
// unchanged after an upgrade that changes priors or design.
type ensembleJSON struct {
	Version      int           `json:"version"`
	Ink          Ink           `json:"ink"`
	Nominal      nominal       `json:"nominal"`
	Age          time.Duration `json:"age_ns"`
	GoodAt       time.Duration `json:"good_at_ns"`
	Low          time.Duration `json:"low_crossed_ns"`
	Expected     time.Duration `json:"expected_crossed_ns"`
	High         time.Duration `json:"high_crossed_ns"`
	MarkedAt     time.Duration `json:"marked_at_ns,omitempty"`
	LastAir      air.State     `json:"last_air"`
	LastExposure float64       `json:"last_exposure"`
	Members      floats        `json:"members"`
	Dose         floats        `json:"dose"`
	DoseAtGood   floats        `json:"dose_at_good"`
	Cup          floats        `json:"cup_c"`
	Gap          floats        `json:"gap,omitempty"`
	GapAtGood    floats        `json:"gap_at_good,omitempty"`
	Heard        *heardJSON    `json:"heard,omitempty"`
	Adheres      *adhesionEnd  `json:"adhesion,omitempty"`
}

// heardJSON is what was measured of a batch. The distributions of the end dose are calculated from it.
type heardJSON struct {
	Curve   viscosity.Curve `json:"curve"`
	Mix     int             `json:"mix,omitempty"`
	Samples []sample        `json:"samples"`
	Trend   *trendJSON      `json:"trend,omitempty"`
	Used    []int           `json:"used,omitempty"` // the sets of samples that are in use
}

// trendJSON is what an instrument that follows the batch has said.
type trendJSON struct {
	Curve   viscosity.Curve `json:"curve"`
	Mix     int             `json:"mix"`
	Samples []sample        `json:"samples"`
	Flat    bool            `json:"flat,omitempty"`
	WasFlat bool            `json:"was_flat,omitempty"`
}

// floats is a list of numbers, written as base64 of their little-endian IEEE 754 bytes. This
// keeps all bits and takes a third of the decimal text.
type floats []float64

func (f floats) MarshalJSON() ([]byte, error) {
	raw := make([]byte, 0, 8*len(f))
	for _, v := range f {
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
	}
	return json.Marshal(raw)
}

func (f *floats) UnmarshalJSON(text []byte) error {
	var encoded string
	if err := json.Unmarshal(text, &encoded); err != nil {
		return err
	}
	raw, err := base64.StdEncoding.DecodeString(encoded)
	if err != nil {
		return err
	}
	if len(raw)%8 != 0 {
		return fmt.Errorf("%d bytes are not whole numbers", len(raw))
	}
	*f = make(floats, len(raw)/8)
	for i := range *f {
		(*f)[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	return nil
}

// MarshalJSON returns the ensemble as JSON, from which UnmarshalJSON restores it to the bit.
func (c *Ensemble) MarshalJSON() ([]byte, error) {
	j := ensembleJSON{
		Version: ensembleVersion, Ink: c.ink, Nominal: c.nominal, Age: c.age, GoodAt: c.goodAt,
		Low: c.crossed[low], Expected: c.crossed[expected], High: c.crossed[high],
		MarkedAt: c.markedAt, LastAir: c.lastAir, LastExposure: c.lastExposure,
		Dose: c.now.dose, DoseAtGood: c.doseAtGood, Cup: c.now.cup, Gap: c.gap, GapAtGood: c.gapAtGood, Adheres: c.adheres,
	}
	if h := c.heard; h != nil {
		j.Heard = &heardJSON{Curve: h.curve, Mix: h.mix, Samples: h.samples, Used: h.used}
		if t := h.trend; t != nil {
			j.Heard.Trend = &trendJSON{Curve: t.curve, Mix: t.mix, Samples: t.samples, Flat: t.flat, WasFlat: t.wasFlat}
		}
	}
	for i := range c.members {
		for _, field := range c.members[i].stored() {
			j.Members = append(j.Members, *field)
		}
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads an ensemble that MarshalJSON wrote. It returns an error for one that is
// damaged or of another version, and then leaves c unchanged.
func (c *Ensemble) UnmarshalJSON(text []byte) error {
	var j ensembleJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return fmt.Errorf("ensemble: %w", err)
	}
	if err := j.valid(); err != nil {
		return fmt.Errorf("ensemble: %w", err)
	}
	n := len(j.Dose)
	d := Ensemble{
		ink: j.Ink, members: make([]member, n), nominal: j.Nominal, now: newState(n), doseAtGood: j.DoseAtGood,
		gap: j.Gap, gapAtGood: j.GapAtGood, age: j.Age, goodAt: j.GoodAt, markedAt: j.MarkedAt,
		crossed: [levels]time.Duration{low: j.Low, expected: j.Expected, high: j.High},
		lastAir: j.LastAir, lastExposure: j.LastExposure, adheres: j.Adheres,
	}
	d.now.copyFrom(state{dose: j.Dose, cup: j.Cup})
	for i := range d.members {
		stored := d.members[i].stored()
		for k, field := range stored {
			*field = j.Members[i*len(stored)+k]
		}
		if err := d.members[i].valid(); err != nil {
			return fmt.Errorf("ensemble: member %d: %w", i, err)
		}
		d.members[i].derive()
	}
	if j.Heard != nil {
		d.heard = j.Heard.hearing()
		d.heard.calculate(d.members)
	}
	d.derive()
	*c = d
	return nil
}

// hearing returns the stored samples, without what follows from them.
func (j *heardJSON) hearing() *hearing {
	h := &hearing{curve: j.Curve, mix: j.Mix, samples: j.Samples, used: j.Used}
	if t := j.Trend; t != nil {
		h.trend = &trend{curve: t.Curve, mix: t.Mix, samples: t.Samples, flat: t.Flat, wasFlat: t.WasFlat}
	}
	return h
}

// calculate calculates what the samples say.
func (h *hearing) calculate(members []member) {
	if len(h.samples) > 0 {
		h.doubted = doubts(h.curve, h.samples, members)
	}
	if t := h.trend; t != nil {
		t.doubted = doubts(t.curve, t.samples, members)
	}
	sets := h.all()
	for _, i := range h.used {
		h.told = append(h.told, newGrid(sets[i].curve, sets[i].samples, members).told())
	}
}

// valid checks the samples of an ensemble of n members.
func (j *heardJSON) valid(n int) error {
	if len(j.Samples) == 0 && j.Trend == nil {
		if len(j.Used) > 0 {
			return errors.New("a set of samples is missing")
		}
		return nil
	}
	if len(j.Samples) > 0 {
		if err := validSamples(j.Curve, j.Samples, maxSamples, n); err != nil {
			return err
		}
	}
	if j.Trend != nil {
		if err := validSamples(j.Trend.Curve, j.Trend.Samples, mostOfTrend, n); err != nil {
			return fmt.Errorf("trend: %w", err)
		}
	}
	sets := len(j.hearing().all())
	if len(j.Used) == 0 || len(j.Used) > levels+1 || slices.ContainsFunc(j.Used, func(i int) bool { return i < 0 || i >= sets }) {
		return errors.New("a set of samples is missing")
	}
	return nil
}

// validSamples checks samples of an ensemble of n members.
func validSamples(curve viscosity.Curve, samples []sample, most, n int) error {
	if err := curve.Valid(); err != nil {
		return err
	}
	for _, s := range samples {
		if err := s.Of.Valid(); err != nil {
			return err
		}
		if len(s.Dose) != n || s.Gap != nil && len(s.Gap) != n || !notNegative(s.Dose...) || !notNegative(s.Gap...) || s.Age < 0 {
			return errors.New("the doses of a sample are damaged")
		}
	}
	if len(samples) == 0 || len(samples) > most {
		return errors.New("the number of samples is wrong")
	}
	return nil
}

// valid checks sizes and numbers. An ensemble that it accepts can be advanced.
func (j *ensembleJSON) valid() error {
	n := len(j.Dose)
	switch {
	case j.Version != ensembleVersion:
		return fmt.Errorf("version %d, this program reads %d", j.Version, ensembleVersion)
	case n == 0 || len(j.DoseAtGood) != n || len(j.Cup) != n || len(j.Members) != n*len((&member{}).stored()):
		return errors.New("the lists of members do not fit each other")
	case j.Gap != nil && len(j.Gap) != n || j.GapAtGood != nil && len(j.GapAtGood) != n || j.Gap == nil && j.GapAtGood != nil:
		return errors.New("the lists of unknown gaps do not fit")
	case j.Age < 0 || j.GoodAt < 0 || j.MarkedAt < 0 || j.Low < notCrossed || j.Expected < notCrossed || j.High < notCrossed:
		return errors.New("an age is negative")
	}
	if err := j.Ink.Valid(); err != nil {
		return err
	}
	if err := j.LastAir.Valid(); err != nil {
		return err
	}
	for _, cup := range append(j.Cup[:n:n], j.Nominal.CupC) {
		// One degree is tolerated: a cup that has followed the air to its limit may be beyond it
		// by a rounding error.
		if !inside(cup, air.MinTemperatureC-1, air.MaxTemperatureC+1) {
			return fmt.Errorf("a cup at %v °C", cup)
		}
	}
	if !inside(j.LastExposure, MinExposure, 1) || !notNegative(j.Nominal.Dose, j.Nominal.Doubtful) {
		return errors.New("the nominal member is damaged")
	}
	if j.Heard != nil {
		if err := j.Heard.valid(n); err != nil {
			return err
		}
	}
	if j.Adheres != nil {
		if err := j.Adheres.valid(); err != nil {
			return err
		}
	}
	for _, doses := range []floats{j.Dose, j.DoseAtGood, j.Gap, j.GapAtGood} {
		if !notNegative(doses...) {
			return errors.New("a dose is damaged")
		}
	}
	return nil
}

// valid returns an error when the member's parameters cannot be calculated with.
func (m *member) valid() error {
	for _, field := range m.stored() {
		if !finite(*field) {
			return errors.New("a parameter is not a number")
		}
	}
	if !inside(m.lRefH, 1e-6, 1e9) || !inside(m.share, 0, 1) || !inside(m.activation, 0, 1000) || !inside(m.sigma, 1e-3, 100) ||
		!inside(m.lagFactor, 1e-3, 1e3) || !inside(m.exposureU, 0, 1) || !inside(m.worstU, 0, 1) || !notNegative(m.gapH) {
		return errors.New("a parameter is outside its limits")
	}
	return nil
}

func inside(v, least, most float64) bool { return v >= least && v <= most }

func notNegative(values ...float64) bool {
	for _, v := range values {
		if !(v >= 0) || math.IsInf(v, 1) {
			return false
		}
	}
	return true
}
