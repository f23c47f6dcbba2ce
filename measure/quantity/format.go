// Package quantity says measured values in words and figures, so that screen,
// picture, note and table print one number in one way.
package quantity

import (
	"math"
	"strconv"
)

// Headline prints value and the half width of its 95 % interval as a reader
// takes them in at a glance: whole units where u95 is above 0.5, else one
// decimal; "11 ± 2 mm", "72 ± 3°". A value of unit "1" is a fraction and keeps
// two decimals. Units are mm, deg, px and 1; u95 carries the value's unit.
// Without an interval (u95 zero, negative or not a number) the value stands
// alone, whole where it is a count and with one decimal where it is not.
func Headline(value, u95 float64, unit string) string {
	switch {
	case unit == "1":
		return Detail(value, u95, unit)
	case u95 > 0.5:
		return figure(value, u95, 0) + suffix(unit)
	case !(u95 > 0) && value == math.Trunc(value):
		return fixed(value, 0) + suffix(unit)
	}
	return figure(value, u95, 1) + suffix(unit)
}

// Detail prints value and u95 with one decimal, a fraction with two.
func Detail(value, u95 float64, unit string) string {
	if unit == "1" {
		if !(u95 > 0) && value == math.Trunc(value) {
			return fixed(value, 0)
		}
		return figure(value, u95, 2)
	}
	return figure(value, u95, 1) + suffix(unit)
}

// Figure is Headline without the unit, for a column that carries the unit in
// its head.
func Figure(value, u95 float64) string {
	if u95 > 0.5 {
		return figure(value, u95, 0)
	}
	return figure(value, u95, 1)
}

func figure(value, u95 float64, decimals int) string {
	s := fixed(value, decimals)
	if u95 > 0 {
		s += " ± " + fixed(RoundUp(u95, decimals), decimals)
	}
	return s
}

// RoundUp rounds an uncertainty to so many decimals, upwards, unless that
// would add more than 95 % of a unit of the last digit: JCGM 100:2008, 7.2.6,
// rounds 10.47 to 11 and 28.05 to 28.
func RoundUp(u float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Ceil(u*p-0.05-1e-9) / p
}

// fixed never prints a negative zero.
func fixed(v float64, decimals int) string {
	p := math.Pow(10, float64(decimals))
	if math.Round(v*p) == 0 {
		v = 0
	}
	return strconv.FormatFloat(math.Round(v*p)/p, 'f', decimals, 64)
}

func suffix(unit string) string {
	switch unit {
	case "deg":
		return "°"
	case "", "1":
		return ""
	}
	return " " + unit
}

// Against says on which side of the ventral margin a signed depth lies:
// positive is beyond it. Never "within bone": a good needle is in a foramen.
func Against(depth float64) string {
	if depth > 0 {
		return "beyond margin"
	}
	return "short of margin"
}

// AgainstVentral is Against written out for a sentence.
func AgainstVentral(depth float64) string {
	if depth > 0 {
		return "beyond the ventral margin"
	}
	return "short of the ventral margin"
}

// words of each quantity, short enough for a row beside its figure.
var words = map[string]string{
	"entry-offset-midline":        "entry from midline",
	"entry-from-foramen-medial":   "entry from medial edge",
	"entry-from-foramen-superior": "entry from cranial edge",
	"entry-fraction-medial":       "entry across foramen width",
	"entry-fraction-superior":     "entry down foramen height",
	"insertion-angle-dorsal":      "angle to dorsal tangent",
	"insertion-angle-chord":       "angle to dorsal surface",
	"insertion-angle-surface":     "angle to dorsal plane",
	"insertion-angle-fusion":      "angle to fusion line",
	"insertion-angle-ventral":     "angle to ventral margin",
	"insertion-angle-skin":        "angle to skin",
	"tip-depth-along-needle":      "tip against ventral margin",
	"tip-depth-perpendicular":     "tip to margin, shortest",
	"contact-depth":               "contact against margin",
	"contacts-beyond-margin":      "contacts beyond or astride",
	"tip-offset-midline":          "tip from midline",
	"tip-caudal-to-si-line":       "tip caudal to sacroiliac line",
	"frontal-deflection":          "deflection from midline",
	"crossing":                    "crossing of two needles",
	"lead-bend":                   "bend of the lead",
	"depth-change":                "change of depth",
}

// Words says a quantity's name as a person would. A name it does not know is
// given back as it is.
func Words(quantity string) string {
	if w, ok := words[quantity]; ok {
		return w
	}
	return quantity
}
