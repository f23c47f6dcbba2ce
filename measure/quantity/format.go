// Package quantity says measured values in words and figures, so that screen,
// picture, note and table print one number in one way.
package quantity

import (
	"math"
	"strconv"
)

// decimals of a figure, by how it is to be read: at a glance, or in full.
// Whole units stand where the interval reaches more than 0.5 to either side. A
// fraction (unit "1") always keeps two decimals, a count none.
func decimals(m Measured, full bool) int {
	switch {
	case m.Unit == "1" && (m.HasU || m.Value != math.Trunc(m.Value)):
		return 2
	case full && m.Unit != "1":
		return 1
	case m.HasU && m.half() > 0.5, !m.HasU && m.Value == math.Trunc(m.Value):
		return 0
	}
	return 1
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

// Suffix is a unit as it follows a figure: " mm", "°", nothing for a bare number.
func Suffix(unit string) string { return suffix(unit) }

func suffix(unit string) string {
	switch unit {
	case "deg":
		return "°"
	case "", "1":
		return ""
	}
	return " " + unit
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
	"tip-caudal-to-si-line":       "tip from sacroiliac line",
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
