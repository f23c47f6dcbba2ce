package quantity

import (
	"math"
	"strings"
)

// Measured is a value with its 95 % interval, as it is told to a reader. All
// that prints one, the note, table, screen and pictures, does it by the
// methods of this type, so that a figure reads alike wherever it stands.
//
// At a glance (Headline, Figure) figures are whole where the interval reaches
// more than 0.5 to either side, else they have one decimal; Detail always has
// one.
type Measured struct {
	Quantity string // its name: tip-depth-along-needle
	Value    float64
	Unit     string // mm, deg, px or 1
	HasU     bool   // Lo and Hi are the 95 % interval
	Lo, Hi   float64
	// Magnified says in which plane a length holds that is no anatomical one:
	// "on the detector, magnified". Lo to Hi is then what it may be at the
	// sacrum, and no figure of it stands without that. Empty: an anatomical
	// length, or none.
	Magnified string
}

// even is how far the two sides of an interval may differ, as a part of the
// longer one, and be told by one figure after a plus-or-minus: the longer's.
const even = 0.2

// Symmetric reports whether the interval is told as plus-or-minus.
func (m Measured) Symmetric() bool {
	up, down := m.Hi-m.Value, m.Value-m.Lo
	off, longer := math.Abs(up-down), math.Max(up, down)
	if m.Magnified != "" || off > even*longer {
		return false
	}
	// One whose sides differ, and that the longer one would make reach zero
	// where it does not, is told by its ends.
	n := decimals(m, false)
	p := math.Pow(10, float64(n))
	return off <= level*longer || m.SpansZero() || math.Round(math.Abs(m.Value)*p)/p-RoundUp(longer, n) > 1e-9
}

// level is how far the sides may differ, likewise, and neither is told as the
// longer one.
const level = 0.05

// half the width of the interval; of one whose sides differ, its longer side.
func (m Measured) half() float64 {
	up, down := m.Hi-m.Value, m.Value-m.Lo
	if math.Abs(up-down) <= level*math.Max(up, down) {
		return (up + down) / 2
	}
	return math.Max(up, down)
}

// SpansZero reports whether the interval holds zero: for a depth, the margin.
func (m Measured) SpansZero() bool { return m.HasU && m.Lo <= 0 && m.Hi >= 0 }

// Headline tells the value at a glance, with the meaning of its sign:
// "22 ± 2 mm lateral", "72 ± 3°", "2 ± 3 mm beyond, at the ventral margin",
// "17 mm on the detector, magnified; 7 to 20 mm at the sacrum, beyond margin".
func (m Measured) Headline() string { return m.told(false) }

// Detail tells it with one decimal, a fraction with two.
func (m Measured) Detail() string { return m.told(true) }

func (m Measured) told(full bool) string {
	n := decimals(m, full)
	switch {
	case m.Magnified != "":
		s := m.size(n) + " " + m.Magnified + "; " + m.span(n) + " at the sacrum"
		if w := m.Where(); w != "" && !m.crosses() {
			s += ", " + w
		}
		return s
	case m.HasU && !m.Symmetric() && m.crosses():
		return m.size(n) + m.joined(n) + " (" + m.span(n) + ")"
	}
	return m.figure(n) + m.joined(n)
}

// Figure is the headline's figure without the meaning of its sign: "22 ± 2 mm".
// Of a magnified length it is what the length may be at the sacrum: "7 to 20 mm".
func (m Measured) Figure() string { return m.figure(decimals(m, false)) }

// Bare is Figure without its unit, for a column that carries the unit.
func (m Measured) Bare() string { return strings.TrimSuffix(m.Figure(), suffix(m.Unit)) }

func (m Measured) figure(n int) string {
	switch {
	case !m.HasU:
		return m.size(n)
	case m.Magnified != "":
		return m.span(n)
	case !m.Symmetric():
		return m.size(n) + " (" + m.span(n) + ")"
	}
	return strings.TrimSuffix(m.size(n), suffix(m.Unit)) + " ± " + fixed(m.rounded(n), n) + suffix(m.Unit)
}

// size is the value with its unit, without its sign where words tell that.
func (m Measured) size(n int) string {
	v := m.Value
	if m.worded() {
		v = math.Abs(v)
	}
	return fixed(v, n) + suffix(m.Unit)
}

// rounded is the half width of the interval, rounded up; but to the nearest
// where rounded up the printed interval would reach zero and the interval itself
// does not. Since a printed value of 3 ± 3 would then say of a depth that it may
// lie at the margin, when it lies beyond.
func (m Measured) rounded(n int) float64 {
	up := RoundUp(m.half(), n)
	p := math.Pow(10, float64(n))
	if !m.SpansZero() && math.Abs(math.Round(m.Value*p)/p)-up <= 1e-9 {
		return math.Max(math.Round(m.half()*p), 1) / p
	}
	return up
}

// span is the interval: "7 to 20 mm", in the order of size where words tell the
// sign, "2 mm short to 20 mm beyond" where it holds both.
func (m Measured) span(n int) string {
	lo, hi := outward(m.Lo, n, math.Floor), outward(m.Hi, n, math.Ceil)
	if !m.SpansZero() { // nor does an end reach zero by rounding alone
		p := math.Pow(10, float64(n))
		if lo == 0 {
			lo = math.Round(m.Lo*p) / p
		}
		if hi == 0 {
			hi = math.Round(m.Hi*p) / p
		}
	}
	way, worded := ways[m.Quantity]
	unit := suffix(m.Unit)
	switch {
	case worded && m.crosses():
		return fixed(-lo, n) + unit + " " + bare(way.negative) + " to " + fixed(hi, n) + unit + " " + bare(way.positive)
	case worded && m.Hi <= 0:
		lo, hi = -hi, -lo
	}
	return fixed(lo, n) + " to " + fixed(hi, n) + unit
}

// outward rounds an end of the interval so that it loses nothing, but for what
// RoundUp lets go.
func outward(v float64, n int, round func(float64) float64) float64 {
	p := math.Pow(10, float64(n))
	if near := math.Round(v * p); math.Abs(v*p-near) <= 0.05+1e-9 {
		return near / p
	}
	return round(v*p) / p
}

// crosses reports whether the interval lies on both sides of zero.
func (m Measured) crosses() bool { return m.HasU && m.Lo < 0 && m.Hi > 0 }

// way is what a sign means. zero, where there is one, is said of an interval
// that holds zero.
type way struct{ positive, negative, zero string }

var (
	depth  = way{"beyond margin", "short of margin", "at the ventral margin"}
	across = way{"lateral", "across the midline", ""}
	ways   = map[string]way{
		"entry-offset-midline":        across,
		"tip-offset-midline":          across,
		"entry-from-foramen-medial":   {"lateral to it", "medial to it", ""},
		"entry-from-foramen-superior": {"caudal to it", "cranial to it", ""},
		"tip-caudal-to-si-line":       {"caudal", "cranial", ""},
		"tip-depth-along-needle":      depth,
		"tip-depth-perpendicular":     depth,
		"contact-depth":               depth,
		"depth-change":                {"deeper", "shallower", ""},
		"frontal-deflection":          {"lateral", "medial", ""},
	}
)

// worded reports whether words tell the sign.
func (m Measured) worded() bool {
	_, ok := ways[m.Quantity]
	return ok
}

// bare is the word of a way without what it is measured from.
func bare(words string) string {
	first, _, _ := strings.Cut(words, " ")
	return first
}

// Where says what the sign means: "lateral", "beyond margin", or, of a depth
// whose interval holds the margin, "beyond, at the ventral margin". Never
// "within bone": a good needle is in a foramen. Empty: the sign is printed, or
// there is none to tell.
func (m Measured) Where() string { return m.where(decimals(m, false)) }

// WhereVentral is Where with the margin's name in full.
func (m Measured) WhereVentral() string { return m.ventral(m.Where()) }

// InFull is Headline with the margin's name in full, for a sentence.
func (m Measured) InFull() string { return m.ventral(m.Headline()) }

func (m Measured) ventral(words string) string {
	if m.atZero() {
		return words
	}
	return strings.Replace(words, " margin", " the ventral margin", 1)
}

func (m Measured) atZero() bool { return ways[m.Quantity].zero != "" && m.SpansZero() }

func (m Measured) where(n int) string {
	w, ok := ways[m.Quantity]
	if !ok {
		return ""
	}
	said := w.positive
	if m.Value < 0 {
		said = w.negative
	}
	none := strings.Trim(fixed(m.Value, n), "0.") == "" // nothing to tell of a printed zero
	switch {
	case m.atZero() && none:
		return w.zero
	case m.atZero():
		return bare(said) + ", " + w.zero
	case none:
		return ""
	}
	return said
}

// joined is Where as it follows a figure.
func (m Measured) joined(n int) string {
	w := m.where(n)
	switch {
	case w == "":
		return ""
	case m.atZero() && w == ways[m.Quantity].zero:
		return ", " + w
	}
	return " " + w
}

// Class says a class as a reader meets it: one of the frontal deflection is a
// published class in degrees, that of a contact a plain word.
func Class(quantity, class string) string {
	if quantity == "frontal-deflection" && strings.ContainsAny(class, "0123456789") {
		return class + " degrees, published class"
	}
	return class
}
