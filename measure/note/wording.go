package note

import (
	"fmt"
	"math"
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
func approach(d placement.Device, own []placement.Result) string {
	r, reference, ok := steadiest(own)
	if !ok {
		return "Approach: not measured."
	}
	return fmt.Sprintf("The %s runs at %s to %s on the lateral film.", d.Kind, value(r), reference)
}

// tip is the depth along a needle or wire. A lead's tip is no measure of good
// or bad and is left out.
func tip(d placement.Device, own []placement.Result, p placement.Placement) string {
	r, ok := find(own, "tip-depth-along-needle")
	if !ok {
		return "Tip depth: not measured."
	}
	return fmt.Sprintf("Its tip is %s %s, along the %s (%s).",
		value(r), quantity.AgainstVentral(r.Value), d.Kind, inScale(r, p))
}

// contacts of a lead: each with its class and its distance from the margin.
func contacts(_ placement.Device, own []placement.Result, p placement.Placement) string {
	var each []string
	in := ""
	for _, r := range own {
		if r.Quantity == "contact-depth" {
			each = append(each, fmt.Sprintf("%d %s (%s)", r.Contact, r.Class, Directed(r, quantity.Headline)))
			in = inScale(r, p)
		}
	}
	if each == nil {
		return "Contacts: not measured."
	}
	said := fmt.Sprintf("Contacts, 0 nearest the tip, against the ventral margin: %s (centres, along the lead; %s).",
		strings.Join(each, ", "), in)
	if r, ok := find(own, "contacts-beyond-margin"); ok {
		said += fmt.Sprintf(" %.0f beyond or astride.", r.Value)
	}
	return said
}

// value is the size of a signed value; the words beside it carry the sign.
func value(r placement.Result) string {
	u := r.U95
	if !r.HasU {
		u = 0
	}
	return quantity.Headline(math.Abs(r.Value), u, r.Unit)
}

// row is a figure the paragraphs leave out, of which device, and the scale it
// was read in.
type row struct{ object, text, scale string }

// details are the figures that an operation note wants beside its paragraphs,
// the devices in their order, then what belongs to none.
func details(p placement.Placement) []row {
	var rows []row
	devices := map[string]bool{}
	for _, d := range p.Devices {
		devices[d.Object] = true
		own := resultsOf(p, d.Object)
		for _, r := range own {
			if headline, _, _ := steadiest(own); r.Quantity != headline.Quantity && !leftOut[r.Quantity] {
				rows = append(rows, row{d.Object, wording(r), inScale(r, p)})
			}
		}
	}
	for _, r := range p.Results {
		if !devices[r.Object] && !leftOut[r.Quantity] {
			rows = append(rows, row{r.Object, wording(r), inScale(r, p)})
		}
	}
	return rows
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

// list prints the rows, a line for each device, with the scale once where all
// share it.
func list(rows []row) string {
	shared := ""
	same := true
	for _, r := range rows {
		if r.scale != "" {
			same = same && (shared == "" || shared == r.scale)
			shared = r.scale
		}
	}
	var b strings.Builder
	b.WriteString("Further measurements (± is half the width of the 95 % interval")
	if source, plain := strings.CutPrefix(shared, "scale: "); same && plain {
		b.WriteString("; scale of lengths: " + source)
	} else if same && shared != "" {
		b.WriteString("; lengths " + shared)
	}
	b.WriteString("):")
	for i, r := range rows {
		switch {
		case i > 0 && r.object == rows[i-1].object:
			b.WriteString("; ")
		case r.object == "":
			b.WriteString("\n- ")
		default:
			b.WriteString("\n- " + r.object + ", ")
		}
		b.WriteString(r.text)
		if !same && r.scale != "" {
			b.WriteString(" (" + r.scale + ")")
		}
	}
	return b.String() + "\n"
}

// directions say what the sign of an offset means: positive, then negative.
var directions = map[string][2]string{
	"entry-offset-midline":        {"lateral", "across the midline"},
	"tip-offset-midline":          {"lateral", "across the midline"},
	"entry-from-foramen-medial":   {"lateral to it", "medial to it"},
	"entry-from-foramen-superior": {"caudal to it", "cranial to it"},
	"tip-caudal-to-si-line":       {"caudal", "cranial"},
	"tip-depth-along-needle":      {"beyond margin", "short of margin"},
	"tip-depth-perpendicular":     {"beyond margin", "short of margin"},
	"contact-depth":               {"beyond margin", "short of margin"},
	"depth-change":                {"deeper", "shallower"},
	"frontal-deflection":          {"lateral", "medial"},
}

// Directed prints a result's figure with the meaning of its sign in words:
// "22 ± 2 mm lateral". The figure is printed by quantity.Headline or
// quantity.Detail.
func Directed(r placement.Result, figure func(value, u95 float64, unit string) string) string {
	v, u, said := r.Value, r.U95, ""
	if !r.HasU {
		u = 0
	}
	if way, ok := directions[r.Quantity]; ok {
		said = " " + way[0]
		if v < 0 {
			v, said = -v, " "+way[1]
		}
	}
	return figure(v, u, r.Unit) + said
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
func wording(r placement.Result) string {
	text := Name(r) + ": " + Directed(r, quantity.Headline)
	if r.Class != "" {
		text += " (" + r.Class + ")"
	}
	return text
}
