package words

import (
	"time"
)

// Locale is how a shop writes: its language, its time zone, and its unit of temperature. The
// zero Locale is English, in the zone of the machine, in °C.
type Locale struct {
	Language   *Language      // nil: English
	Zone       *time.Location // nil: that of the machine
	Fahrenheit bool           // temperatures for people are in °F, not in °C
}

func (l Locale) language() *Language {
	if l.Language == nil {
		return English()
	}
	return l.Language
}

// In returns an instant in the time zone of the shop.
func (l Locale) In(at time.Time) time.Time {
	if l.Zone == nil {
		return at.Local()
	}
	return at.In(l.Zone)
}

// Say returns a text as [Language.Say] does.
func (l Locale) Say(key string, args ...any) string { return l.language().Say(key, args...) }

// Code returns the code of the language, as [Language.Code] does.
func (l Locale) Code() string { return l.language().Code() }

// ZoneName returns the IANA name of the time zone, empty when it is not known.
func (l Locale) ZoneName() string {
	if l.Zone == nil || l.Zone == time.Local {
		return ""
	}
	return l.Zone.String()
}
