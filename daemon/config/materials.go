package config

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"potlifed/model/cure"
	"potlifed/model/defect"
	"potlifed/model/mix"
)

// materials reads the hardeners, the thinners, the inks and the shop's own kinds of defect: those of the included
// file, then those of the configuration.
func (r *reader) materials(top *mapping, standard Shop, shop *Shop) {
	shop.Inks, shop.Defects = nil, nil
	if book := r.book(top); book != nil {
		r.lists(book, standard, shop)
		book.close()
		r.file = ""
	}
	if len(shop.Inks) == 0 {
		top.require("inks", oneInk)
	}
	r.lists(top, standard, shop)
	if len(shop.Inks) == 0 {
		top.some("inks", oneInk)
	}
}

// oneInk is what the list of inks must be.
const oneInk = "a list with one ink at least, each with id, hardener_ratio and pot_life"

// lists reads the lists of materials and defects.
func (r *reader) lists(top *mapping, standard Shop, shop *Shop) {
	top.each("hardeners", "a list of hardeners, each with id", func(m *mapping) { shop.Hardeners = append(shop.Hardeners, r.hardener(m)) })
	top.each("thinners", "a list of thinners, each with id", func(m *mapping) { shop.Thinners = append(shop.Thinners, r.thinner(m)) })
	top.each("inks", oneInk, func(m *mapping) { shop.Inks = append(shop.Inks, r.ink(m, standard.Inks[0])) })
	top.each("defects", "a list of kinds of print defect, each with id and words", func(m *mapping) { shop.Defects = append(shop.Defects, r.defect(m)) })
}

// defect reads a kind of print defect of the shop's own. The kinds that every shop has keep
// their ids.
func (r *reader) defect(m *mapping) Defect {
	var d Defect
	m.id(aDefect, &d.ID)
	if slices.Contains(defect.Trade(), d.ID) {
		m.wrongAs("id", "a kind that every shop has", "an id of its own")
	}
	m.require("words", defectWords.want)
	m.text("words", &d.Words, defectWords)
	return d
}

var defectWords = textRule{"its name for people, 1 to 40 characters on one line", func(text string) string {
	if n := utf8.RuneCountInString(text); n < 1 || n > 40 || strings.ContainsFunc(text, unicode.IsControl) {
		return "1 to 40 characters on one line"
	}
	return ""
}}

func (r *reader) hardener(m *mapping) Hardener {
	var h Hardener
	m.id(aHardener, &h.ID)
	m.duration("use_within_opened", &h.UseWithinOpened, day, 3660*day, "90d")
	m.text("safety_data_sheet", &h.SafetySheet, safetySheetRule)
	return h
}

func (r *reader) thinner(m *mapping) Thinner {
	var t Thinner
	m.id(aThinner, &t.ID)
	m.number("vapour_pressure_pa", &t.VapourPressurePa, bounds{min: 0, above: true, max: 100000, unit: "pascals at 20 °C"})
	m.number("molar_mass_g", &t.MolarMassG, bounds{min: 10, max: 1000, unit: "grams a mole"})
	m.boolean("hydroxyl", &t.Hydroxyl)
	m.text("safety_data_sheet", &t.SafetySheet, safetySheetRule)
	return t
}

func (r *reader) ink(m *mapping, ink Ink) Ink {
	m.id(anInk, &ink.ID)
	m.ref("hardener", aHardener, &ink.Hardener)
	m.require("hardener_ratio", ratioRule.want)
	var ratio string
	m.text("hardener_ratio", &ratio, ratioRule)
	if ratio != "" {
		ink.Ratio, _ = mix.ParseRatio(ratio)
	}
	m.number("ratio_tolerance_pct", &ink.RatioTolerancePct, bounds{min: 0, above: true, max: 50, unit: "per cent"})
	m.refs("thinners", aThinner, &ink.Thinners)
	if section := m.section("thinner_pct"); section != nil {
		r.thinnerPct(section, &ink.ThinnerPct)
		section.close()
	}
	m.require("pot_life", potLifeWant)
	if section := m.section("pot_life"); section != nil {
		r.potLife(section, &ink)
		section.close()
	}
	m.duration("rest", &ink.Rest, 0, longestWait, "0m")
	m.duration("stir", &ink.Stir, 0, longestWait, "20s")
	m.text("safety_data_sheet", &ink.SafetySheet, safetySheetRule)
	return ink
}

// ratioRule takes what the model takes for a ratio.
var ratioRule = textRule{`ink : hardener by weight, such as "5:1"`, func(text string) string {
	if _, err := mix.ParseRatio(text); err != nil {
		return strings.TrimPrefix(err.Error(), fmt.Sprintf("ratio %q: ", text))
	}
	return ""
}}

// thinnerPct reads the range and the two starting values. A starting value that was
// not given must still lie in a range that was.
func (r *reader) thinnerPct(m *mapping, t *ThinnerPct) {
	within := bounds{min: 0, max: 100, unit: "per cent of ink and hardener"}
	m.number("min", &t.Min, within)
	m.number("max", &t.Max, within)
	m.number("dark", &t.Dark, within)
	m.number("light", &t.Light, within)
	if !m.sound("min", "max") {
		return
	}
	if t.Max < t.Min {
		m.disagree("max", fmt.Sprint(t.Max), fmt.Sprintf("no less than min, %v", t.Min))
		return
	}
	for _, start := range []struct {
		key string
		pct float64
	}{{"dark", t.Dark}, {"light", t.Light}} {
		if m.sound(start.key) && (start.pct < t.Min || start.pct > t.Max) {
			m.disagree(start.key, fmt.Sprint(start.pct), fmt.Sprintf("a start inside the range, from %v to %v", t.Min, t.Max))
		}
	}
}

const potLifeWant = "the data sheet's figures: {shortest: 4h30m, longest: 5h30m}, or {about: 14h}"

// potLife reads the data sheet's figures and calibrates the ink's life by them.
func (r *reader) potLife(m *mapping, ink *Ink) {
	const shortest, longest = 5 * time.Minute, 60 * day
	before := len(r.faults.List)
	sheet := &ink.Sheet
	m.duration("shortest", &sheet.Shortest, shortest, longest, "4h30m")
	m.duration("longest", &sheet.Longest, shortest, longest, "5h30m")
	m.duration("about", &sheet.About, shortest, longest, "14h")
	m.number("at_temperature_c", &sheet.AtTemperatureC, bounds{min: 5, max: 40, unit: "°C"})
	m.number("dry_pct", &sheet.DryPct, bounds{min: 0, max: 100, unit: "% RH"})
	m.number("humid_pct", &sheet.HumidPct, bounds{min: 0, max: 100, unit: "% RH"})
	m.number("activation_kj_mol", &sheet.ActivationKJPerMol, bounds{min: cure.MinActivationKJPerMol, max: cure.MaxActivationKJPerMol, unit: "kJ/mol"})
	if m.has("about") {
		for _, key := range []string{"shortest", "longest"} {
			if m.has(key) && m.sound(key) {
				m.wrongAs(key, "beside about", "the two ends of a range, or about alone")
			}
		}
		for _, key := range []string{"dry_pct", "humid_pct"} {
			if m.has(key) && m.sound(key) {
				m.wrongAs(key, "beside about", "no such key; a single figure is taken to hold at 50 % RH")
			}
		}
	} else {
		m.require("shortest", "the shorter end of the data sheet's range, such as 4h30m; or about: 14h for a single figure")
		m.require("longest", "the longer end of the data sheet's range, such as 5h30m; or about: 14h for a single figure")
	}
	if m.has("shortest") && m.has("longest") && m.sound("shortest", "longest") {
		switch {
		case sheet.Longest == sheet.Shortest:
			m.wrongAs("longest", "the same as shortest", "two ends that differ; for a single figure write about: "+sayDuration(sheet.Longest))
		case sheet.Longest < sheet.Shortest:
			m.disagree("longest", sayDuration(sheet.Longest), "longer than shortest, "+sayDuration(sheet.Shortest))
		}
	}
	if m.sound("dry_pct", "humid_pct") && sheet.HumidPct <= sheet.DryPct {
		m.disagree("humid_pct", fmt.Sprint(sheet.HumidPct), fmt.Sprintf("more than dry_pct, %v", sheet.DryPct))
	}
	if len(r.faults.List) > before {
		return
	}
	life, err := sheet.Calibrate()
	if err != nil {
		r.fault(m.at, m.path, "figures that do not go together", strings.TrimPrefix(err.Error(), "pot life: "))
		return
	}
	ink.Life = life
}
