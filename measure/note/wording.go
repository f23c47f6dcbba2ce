package note

import (
	"fmt"
	"slices"
	"strings"

	"leadline/measure/placement"
	"leadline/measure/quantity"
)

// approaches, the steadiest first, with what the angle is measured to.
var approaches = []struct{ name, reference string }{
	{"insertion-angle-chord", "the dorsal surface of the sacrum (chord about the entry)"},
	{"insertion-angle-dorsal", "the dorsal surface of the sacrum (tangent at the entry)"},
	{"insertion-angle-fusion", "the marked fusion line"},
	{"insertion-angle-ventral", "the ventral margin (tangent at the exit)"},
	{"insertion-angle-skin", "the skin"},
}

// steadiest angle there is, and what it is measured to.
func steadiest(own []placement.Result) (r placement.Result, reference string, ok bool) {
	for _, a := range approaches {
		if r, ok := find(own, a.name); ok {
			return r, a.reference, true
		}
	}
	return placement.Result{}, "", false
}

// approach says the angle and what it is measured to.
func (w *writer) approach(d placement.Device, own []placement.Result) string {
	r, reference, ok := steadiest(own)
	if !ok {
		return "Approach: not measured."
	}
	return fmt.Sprintf("The %s runs at %s to %s %s.", d.Kind, w.Measured(r).Figure(), reference, read(r))
}

// read says by which films a result was read.
func read(r placement.Result) string {
	if r.Plane == placement.Plane3D {
		return "by both films together"
	}
	return "on the " + r.Plane + " film"
}

// entries are what an entry is told by: the quantity, from what, and from what
// of a foramen.
var entries = []struct{ name, from string }{
	{"entry-offset-midline", "the midline"},
	{"entry-from-foramen-medial", "the medial edge of "},
	{"entry-from-foramen-superior", "the cranial edge of "},
}

// entry says where the device enters.
func (w *writer) entry(own []placement.Result) string {
	var parts, ends []string // and by which film, in which scale
	magnified := false
	for _, e := range entries {
		r, ok := find(own, e.name)
		if !ok {
			continue
		}
		from := e.from
		if strings.HasSuffix(from, " of ") {
			if r.Of == "" {
				from = strings.TrimSuffix(from, " of ") + " of the foramen"
			}
			from += r.Of
		}
		m := w.Measured(r)
		magnified = magnified || m.Magnified != ""
		ends = append(ends, " "+read(r)+w.inScale(r))
		way, _, _ := strings.Cut(m.Where(), " ")
		switch {
		case m.Magnified != "":
			parts = append(parts, "from "+from+": "+m.Headline())
		case m.Where() == "across the midline":
			parts = append(parts, m.Headline())
		case way == "":
			parts = append(parts, m.Figure()+" from "+from)
		default:
			parts = append(parts, m.Figure()+" "+way+" to "+from)
		}
	}
	if parts == nil {
		return "Entry: not measured."
	}
	end := ends[0]
	if slices.ContainsFunc(ends, func(e string) bool { return e != end }) {
		for i := range parts { // each by its own film
			parts[i] += ends[i]
		}
		end = ""
	}
	if magnified {
		return "Entry: " + strings.Join(parts, "; ") + end + "."
	}
	return "It enters " + enumerate(parts) + end + "."
}

// enumerate is "a", "a and b", "a, b and c".
func enumerate(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, "")
}

// tip is the depth along a needle or wire. A lead's tip is no measure of good
// or bad and is left out.
func (w *writer) tip(d placement.Device, own []placement.Result) string {
	r, ok := find(own, "tip-depth-along-needle")
	if !ok {
		return "Tip depth: not measured."
	}
	return fmt.Sprintf("Along the %s its tip is %s%s.", d.Kind, w.Measured(r).InFull(), w.inScale(r))
}

// contacts of a lead: how they lie to the margin, and their centres.
func (w *writer) contacts(own []placement.Result) string {
	said := Contacts(w.Placement, own)
	if said == "" {
		return "Contacts: not measured."
	}
	for _, r := range own {
		if r.Quantity == "contact-depth" {
			return said + w.inScale(r) + "."
		}
	}
	return said + "."
}

// row is a figure the paragraphs leave out, and of which device.
type row struct{ object, text string }

// details are the figures that an operation note wants beside its paragraphs,
// the devices in their order, then what belongs to none.
func (w *writer) details() []row {
	var rows []row
	devices := map[string]bool{}
	for _, d := range w.Devices {
		devices[d.Object] = true
		own := resultsOf(w.Placement, d.Object)
		headline, _, _ := steadiest(own)
		entered := map[string]bool{}
		for _, r := range own {
			first := isEntry(r) && !entered[r.Quantity] // stands in the paragraph
			entered[r.Quantity] = true
			if r.Quantity != headline.Quantity && !leftOut[r.Quantity] && !first {
				rows = append(rows, row{d.Object, w.wording(r)})
			}
		}
	}
	for _, r := range w.Best() {
		if !devices[r.Object] && !leftOut[r.Quantity] {
			rows = append(rows, row{r.Object, w.wording(r)})
		}
	}
	return rows
}

func isEntry(r placement.Result) bool {
	for _, e := range entries {
		if e.name == r.Quantity {
			return true
		}
	}
	return false
}

// leftOut of the list is what the paragraphs say already, and what serves
// study more than a note: it stands in the report and in the table of measures.
var leftOut = map[string]bool{
	"contact-depth":           true,
	"contacts-beyond-margin":  true,
	"tip-depth-along-needle":  true,
	"tip-depth-perpendicular": true, // can mislead on a curved bone
	"tip-offset-midline":      true, // secondary: the entry is what is chosen
	"insertion-angle-dorsal":  true, // the chord's angle is the steadier
	"entry-fraction-medial":   true,
	"entry-fraction-superior": true,
	"crossing":                true,
}

// Name says in words what a result measures, and of what: "contact 2 against
// margin", "angle to fusion line S2/S3", "change of depth since N1".
func Name(r placement.Result) string {
	name := quantity.Words(r.Quantity)
	switch {
	case r.Quantity == "contact-depth":
		return fmt.Sprintf("contact %d against margin", r.Contact)
	case r.Quantity == "depth-change":
		name += " since"
	case r.Quantity == "crossing" && r.Plane == placement.Plane3D:
		name = "nearest distance to"
	case r.Quantity == "crossing":
		name = "crossing with"
	case r.Quantity != "insertion-angle-fusion" && r.Of != "":
		name += ","
	}
	if r.Of != "" {
		name += " " + r.Of
	}
	if r.Contact >= 0 {
		name += fmt.Sprintf(", contact %d", r.Contact)
	}
	return name
}

// wording is one figure: "entry from midline: 22 ± 2 mm lateral".
func (w *writer) wording(r placement.Result) string {
	text := Name(r) + ": " + w.Measured(r).Headline()
	if r.Class != "" {
		text += " (" + quantity.Class(r.Quantity, r.Class) + ")"
	}
	return text + w.inScale(r)
}
