package view

import (
	"slices"

	"potlifed/daemon/precision"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// Rounded returns the row with its figures rounded to what is known of them. Measured
// keeps all digits.
func (a Air) Rounded() Air {
	a.TemperatureC = precision.Known(a.TemperatureC, precision.Celsius)
	a.HumidityPct = precision.Known(a.HumidityPct, precision.Percent)
	a.DewPointC = precision.Known(a.DewPointC, precision.Celsius)
	a.VapourDensity = precision.Known(a.VapourDensity, precision.GramsPerM3)
	return a
}

// Rounded returns the row with its weights rounded to a tenth of the scale's division.
func (s Scale) Rounded() Scale {
	g := byDivision(s.DivisionG)
	s.WeightG, s.CupBackG = precision.Known(s.WeightG, g), precision.Known(s.CupBackG, g)
	if s.Pouring != nil {
		p := *s.Pouring
		p.PouredG, p.TargetG = g(p.PouredG), g(p.TargetG)
		p.LowG, p.HighG = precision.GramsAtLeast(p.LowG, s.DivisionG), precision.GramsAtMost(p.HighG, s.DivisionG)
		p.Cures = slices.Clone(p.Cures)
		for i, c := range p.Cures {
			p.Cures[i].G, p.Cures[i].ThinnerG, p.Cures[i].TotalG, p.Cures[i].Add = g(c.G), g(c.ThinnerG), g(c.TotalG), roundedAddition(c.Add, g)
			p.Cures[i].OffPct = precision.Percent(c.OffPct)
			if c.Kind == guide.TakeOut { // less would not be enough
				p.Cures[i].G = precision.GramsAtLeast(c.G, s.DivisionG)
			}
		}
		s.Pouring = &p
	}
	if s.NotTaken != nil {
		n := *s.NotTaken
		n.G = g(n.G)
		s.NotTaken = &n
	}
	return s
}

// Rounded returns the row with the figures of its checks rounded to what is known of them.
func (s Sensor) Rounded() Sensor {
	s.CheckPoints = slices.Clone(s.CheckPoints)
	for i := range s.CheckPoints {
		p := &s.CheckPoints[i]
		for _, x := range []*float64{&p.ReadPct, &p.ReferencePct, &p.OffPct, &p.UncertaintyPct, &p.AllowedPct} {
			*x = precision.Percent(*x)
		}
	}
	s.Correction, s.CorrectionOffered = s.Correction.rounded(), s.CorrectionOffered.rounded()
	if s.ScaleCheck != nil {
		c := *s.ScaleCheck
		c.Loads = slices.Clone(c.Loads)
		for i := range c.Loads {
			l := &c.Loads[i]
			// The errors of weights and the mean of several readings are finer than the division.
			for _, x := range []*float64{&l.MeanG, &l.ErrorG, &l.SpreadG, &l.UncertaintyG, &l.WeightsG} {
				*x = precision.Share(*x)
			}
		}
		s.ScaleCheck = &c
	}
	return s
}

// Rounded returns a copy with its figures rounded to what is known of them.
func (h Health) Rounded() *Health {
	h.ErrorShare, h.SameS, h.StuckAfterS = precision.Known(h.ErrorShare, precision.Share), precision.Known(h.SameS, precision.Seconds), precision.Known(h.StuckAfterS, precision.Seconds)
	h.DriftPct, h.SettleS, h.ZeroG = precision.Known(h.DriftPct, precision.Percent), precision.Known(h.SettleS, precision.Seconds), precision.Known(h.ZeroG, precision.Share)
	h.NoiseG = precision.Known(h.NoiseG, precision.Share)
	h.JumpsPerDay = precision.Known(h.JumpsPerDay, precision.Share)
	return &h
}

func (c *SensorCorrection) rounded() *SensorCorrection {
	if c == nil {
		return nil
	}
	r := *c
	r.OffsetPct, r.ChangesPct, r.UncertaintyPct, r.Gain = precision.Percent(r.OffsetPct), precision.Percent(r.ChangesPct), precision.Percent(r.UncertaintyPct), precision.Share(r.Gain)
	return &r
}

func roundedAddition(a mix.Addition, g func(float64) float64) mix.Addition {
	return mix.Addition{InkG: g(a.InkG), HardenerG: g(a.HardenerG), ThinnerG: g(a.ThinnerG)}
}

// byDivision returns the rounding of masses that were weighed on a scale of this division.
func byDivision(divisionG float64) func(float64) float64 {
	return func(g float64) float64 { return precision.Grams(g, divisionG) }
}

// Rounded returns the row with its figures rounded to what is known of them. divisionG is
// the division in g of the scale that the batch was weighed on, 0 when it was not weighed.
func (b Batch) Rounded(divisionG float64) Batch {
	g := byDivision(divisionG)
	b.AgeS = precision.Known(b.AgeS, precision.Seconds)
	b.Spent, b.Risk = precision.Known(b.Spent, precision.Share), precision.Known(b.Risk, precision.Share)
	if r := b.RemainingS; r != nil {
		b.RemainingS = &Span[float64]{
			Expected: precision.Seconds(r.Expected), Low: precision.Seconds(r.Low), High: precision.Seconds(r.High),
		}
	}
	b.Components = slices.Clone(b.Components)
	for i := range b.Components {
		b.Components[i].G = g(b.Components[i].G)
	}
	b.Pours = slices.Clone(b.Pours)
	for i := range b.Pours {
		b.Pours[i].G = g(b.Pours[i].G)
	}
	b.TargetsG = b.TargetsG.rounded(g)
	b.Corrections = slices.Clone(b.Corrections)
	for i, c := range b.Corrections {
		b.Corrections[i] = mix.Correction{
			Add:      roundedAddition(c.Add, g),
			ThinnerG: g(c.ThinnerG), TotalG: g(c.TotalG), To: c.To, OffPct: precision.Percent(c.OffPct),
		}
	}
	b.CupWeighsG, b.CupEmptyG, b.LeftG = precision.Known(b.CupWeighsG, g), precision.Known(b.CupEmptyG, g), precision.Known(b.LeftG, g)
	if b.PourOver != nil {
		o := *b.PourOver
		o.EmptyG, o.WholeG = precision.Known(o.EmptyG, g), precision.Known(o.WholeG, g)
		o.ContentG, o.NotTakenG, o.OldG = g(o.ContentG), g(o.NotTakenG), g(o.OldG)
		b.PourOver = &o
	}
	b.OtherCups = slices.Clone(b.OtherCups)
	for i, c := range b.OtherCups {
		b.OtherCups[i].EmptyG, b.OtherCups[i].TakesG = precision.Known(c.EmptyG, g), precision.Known(c.TakesG, g)
	}
	b.Ratio = b.Ratio.rounded()
	if b.Thinner != nil {
		t := *b.Thinner
		t.LostG, t.AddG, t.WholeG = g(t.LostG), g(t.AddG), g(t.WholeG)
		t.ThinnerPct, t.PouredPct = precision.Percent(t.ThinnerPct), precision.Percent(t.PouredPct)
		t.Pipettes = precision.Share(t.Pipettes)
		b.Thinner = &t
	}
	return b
}

func (t Targets) rounded(g func(float64) float64) Targets {
	return Targets{Ink: g(t.Ink), Hardener: g(t.Hardener), Thinner: g(t.Thinner)}
}

// Rounded returns the recipe with its figures rounded to what is known of them. Its masses
// are rounded to a tenth of the scale's division.
func (r Recipe) Rounded() Recipe {
	g := byDivision(r.DivisionG)
	r.TargetsG, r.TotalG = r.TargetsG.rounded(g), g(r.TotalG)
	r.InkMinimumG, r.SmallestInkG = g(r.InkMinimumG), g(r.SmallestInkG)
	for _, pct := range []*float64{
		&r.ThinnerPct, &r.ThinnerStartPct, &r.ThinnerMinPct, &r.ThinnerMaxPct, &r.TolerancePct, &r.RatioPct, &r.ThinnerPctPoints,
	} {
		*pct = precision.Percent(*pct)
	}
	r.Life = r.Life.rounded()
	if r.SmallerCup != nil {
		c := *r.SmallerCup
		c.InkG, c.TotalG, c.Life = g(c.InkG), g(c.TotalG), c.Life.rounded()
		r.SmallerCup = &c
	}
	return r
}

func (l *NewLife) rounded() *NewLife {
	if l == nil {
		return nil
	}
	next := *l
	next.LastsS = Span[float64]{
		Expected: precision.Seconds(l.LastsS.Expected), Low: precision.Seconds(l.LastsS.Low), High: precision.Seconds(l.LastsS.High),
	}
	return &next
}

// Rounded returns the row with its figures rounded to what is known of them. Life and
// Ratio keep all digits.
func (i Ink) Rounded() Ink {
	for _, pct := range []*float64{&i.TolerancePct, &i.ThinnerMinPct, &i.ThinnerMaxPct, &i.ThinnerDark, &i.ThinnerLight} {
		*pct = precision.Percent(*pct)
	}
	i.RestS, i.StirS, i.LifeRefH = precision.Seconds(i.RestS), precision.Seconds(i.StirS), precision.Hours(i.LifeRefH)
	i.MoistureShare = precision.Share(i.MoistureShare)
	if i.Learned != nil {
		l := *i.Learned
		l.LifeRefH, l.Activation = precision.Hours(l.LifeRefH), precision.KJPerMol(l.Activation)
		l.MoistureShare, l.Sigma = precision.Share(l.MoistureShare), precision.Share(l.Sigma)
		i.Learned = &l
	}
	if i.JarTest != nil {
		t := i.JarTest.Rounded()
		i.JarTest = &t
	}
	return i
}
