package quantity

import (
	"math"
	"strings"
)

// Series tells values of one kind and unit in a row, the unit and the meaning of
// the sign once for those that share it: "25, 20, 13 mm beyond, 6 mm short, each
// ± 3 mm at most", "33, 27 mm on the detector, magnified; 14 to 38, 11 to 31 mm at
// the sacrum, beyond the ventral margin". Where they do not share that, each is
// told by itself.
func Series(all []Measured) string {
	if len(all) > 1 && alike(all) {
		return magnified(all)
	}
	n, most := 1, 0.0
	for _, m := range all {
		if !m.HasU || !m.Symmetric() || m.Unit != all[0].Unit || !m.worded() {
			return each(all)
		}
		n = min(n, decimals(m, false))
		most = math.Max(most, m.half())
	}
	var parts []string
	for i, m := range all {
		part := strings.TrimSuffix(m.size(n), suffix(m.Unit))
		if w := m.side(n); i == len(all)-1 || all[i+1].side(n) != w {
			part += suffix(m.Unit) + w
		}
		parts = append(parts, part)
	}
	said := ", each ± "
	if len(all) == 1 {
		said = ", ± "
	}
	s := strings.Join(parts, ", ") + said + fixed(RoundUp(most, n), n) + suffix(all[0].Unit)
	if len(all) > 1 {
		s += " at most"
	}
	return s
}

// alike reports whether all are magnified in one way and lie on one side of zero.
func alike(all []Measured) bool {
	for _, m := range all {
		if m.Magnified == "" || m.Magnified != all[0].Magnified || m.Unit != all[0].Unit || m.crosses() || m.Where() != all[0].Where() {
			return false
		}
	}
	return true
}

// magnified tells values in a row, then what they may be at the sacrum.
func magnified(all []Measured) string {
	n := 1
	for _, m := range all {
		n = min(n, decimals(m, false))
	}
	unit := suffix(all[0].Unit)
	var sizes, spans []string
	for _, m := range all {
		sizes = append(sizes, strings.TrimSuffix(m.size(n), unit))
		spans = append(spans, strings.TrimSuffix(m.span(n), unit))
	}
	s := strings.Join(sizes, ", ") + unit + " " + all[0].Magnified + "; " + strings.Join(spans, ", ") + unit + " at the sacrum"
	if w := all[0].WhereVentral(); w != "" {
		s += ", " + w
	}
	return s
}

func each(all []Measured) string {
	var parts []string
	for _, m := range all {
		parts = append(parts, m.InFull())
	}
	return strings.Join(parts, "; ")
}

// side of zero as printed with n decimals, in one word.
func (m Measured) side(n int) string {
	w := ways[m.Quantity]
	switch v := math.Round(m.Value * math.Pow(10, float64(n))); {
	case v > 0:
		return " " + bare(w.positive)
	case v < 0:
		return " " + bare(w.negative)
	}
	return ""
}
