package cure

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"potlifed/model/air"
)

// The reference air of a data sheet that names none. The two humidities are an assumption; the
// pages and the command line show them as assumed.
const (
	DefaultSheetTemperatureC = 20.0
	DefaultDryPct            = 30.0
	DefaultHumidPct          = 80.0
)

// defaultMoistureShare is what the trade's usual range, 6 to 8 hours, means between the default
// ends: B e_ref L_ref = 5/17.
const defaultMoistureShare = 5.0 / 17

// Sheet holds what the ink's data sheet says about the pot life: Shortest and Longest, or About
// alone.
type Sheet struct {
	Shortest, Longest time.Duration
	About             time.Duration
	// AtTemperatureC, DryPct and HumidPct are the air in which the figures hold: Longest at the
	// dry end, Shortest at the humid end, both at this temperature; About at 50 %. If both ends
	// are 0 they mean 30 and 80 %, and if all three are 0, AtTemperatureC means 20 °C.
	AtTemperatureC, DryPct, HumidPct float64
	// ActivationKJPerMol is the centre of the activation energy of the heat path in kJ/mol,
	// 25..90; 0 means 50.
	ActivationKJPerMol float64
}

// errNoShare means that heat and moisture together cannot explain the range of the sheet: the
// life of an ink would differ less between the two ends even if only moisture spent it.
var errNoShare = errors.New("no share of the moisture path explains this range")

// withDefaults returns the sheet with the reference filled in.
func (s Sheet) withDefaults() Sheet {
	if s.DryPct == 0 && s.HumidPct == 0 {
		s.DryPct, s.HumidPct = DefaultDryPct, DefaultHumidPct
		if s.AtTemperatureC == 0 {
			s.AtTemperatureC = DefaultSheetTemperatureC
		}
	}
	if s.ActivationKJPerMol == 0 {
		s.ActivationKJPerMol = DefaultActivationKJPerMol
	}
	return s
}

// valid checks the figures one by one. Calibrate checks them together.
func (s Sheet) valid() error {
	two, one := s.Shortest != 0 || s.Longest != 0, s.About != 0
	switch {
	case two && one:
		return errors.New("pot life: give shortest and longest, or about, not both")
	case !two && !one:
		return errors.New("pot life: give shortest and longest, or about")
	case one && s.About < 0:
		return fmt.Errorf("pot life: about %v is not positive", s.About)
	case two && s.Shortest <= 0:
		return fmt.Errorf("pot life: shortest %v is not positive", s.Shortest)
	case two && s.Longest <= 0:
		return fmt.Errorf("pot life: longest %v is not positive", s.Longest)
	case two && s.Shortest == s.Longest:
		return fmt.Errorf("pot life: shortest and longest are both %s; write about: %s", plain(s.Shortest), plain(s.Shortest))
	case two && s.Shortest > s.Longest:
		return fmt.Errorf("pot life: shortest %s is longer than longest %s", plain(s.Shortest), plain(s.Longest))
	}
	if err := (air.State{TemperatureC: s.AtTemperatureC}).Valid(); err != nil {
		return fmt.Errorf("pot life: data sheet: %w", err)
	}
	if two && !(s.DryPct >= air.MinHumidityPct && s.DryPct < s.HumidPct && s.HumidPct <= air.MaxHumidityPct) {
		return fmt.Errorf("pot life: the dry end %v %% and the humid end %v %% must be inside 0..100 %% and in this order", s.DryPct, s.HumidPct)
	}
	if !(s.ActivationKJPerMol >= MinActivationKJPerMol && s.ActivationKJPerMol <= MaxActivationKJPerMol) {
		return fmt.Errorf("pot life: activation energy %v kJ/mol is outside %v..%v", s.ActivationKJPerMol, MinActivationKJPerMol, MaxActivationKJPerMol)
	}
	return nil
}

// plain returns a duration as a person would write it in a configuration: 6h and not 6h0m0s.
func plain(d time.Duration) string {
	text := d.String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	return text
}

// Calibrate returns the ink that the sheet's figures describe, with the default priors. The
// error names a figure that is out of range, or says that the two figures do not go together.
//
// Two figures determine both paths exactly. With r = A k + B e, A k + B e_dry = 1/Longest and A
// k + B e_humid = 1/Shortest at the temperature of the sheet. That needs A ≥ 0, that is
// Shortest/Longest ≥ dry/humid; otherwise they do not go together. With one figure, the share
// has its default.
func (s Sheet) Calibrate() (Ink, error) {
	s = s.withDefaults()
	if err := s.valid(); err != nil {
		return Ink{}, err
	}
	ink := Ink{
		MoistureShare:      defaultMoistureShare,
		ActivationKJPerMol: s.ActivationKJPerMol,
		AtTemperatureC:     s.AtTemperatureC,
		LifeLnSpread:       lifeSpreadOfOneFigure,
		MoistureSpread:     moistureShareSpread,
		ActivationSpread:   activationSpread,
		Sigma:              DefaultSigma,
		SigmaLnSpread:      sigmaLnSpread,
	}
	if s.About != 0 {
		ink.LRefH = lRefFor(ink.KnownIn(), s.About.Hours(), ink.MoistureShare, ink.activationK())
		return ink, ink.Valid()
	}
	dry := air.State{TemperatureC: s.AtTemperatureC, HumidityPct: s.DryPct}.VapourPressurePa()
	humid := air.State{TemperatureC: s.AtTemperatureC, HumidityPct: s.HumidPct}.VapourPressurePa()
	moisture := (1/s.Shortest.Hours() - 1/s.Longest.Hours()) / (humid - dry)
	heat := 1/s.Longest.Hours() - moisture*dry
	// An ink whose life only moisture determines is allowed; rounding must not refuse it.
	if heat < -1e-12/s.Longest.Hours() {
		return Ink{}, fmt.Errorf("pot life: %s..%s between %v and %v %%: %w: shortest/longest must be at least dry/humid, %.3g; "+
			"check the figures and the two ends, or give one figure as about",
			plain(s.Shortest), plain(s.Longest), s.DryPct, s.HumidPct, errNoShare, s.DryPct/s.HumidPct)
	}
	heat = max(heat, 0) / arrhenius(ink.activationK(), s.AtTemperatureC)
	rate := heat + moisture*referenceVapourPa
	ink.LRefH = 1 / rate
	ink.MoistureShare = moisture * referenceVapourPa / rate
	ink.LifeLnSpread = lifeSpreadOfTwoFigures
	return ink, ink.Valid()
}
