package scene

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/quantity"
)

// devices draws needles, wires, leads and contacts with tip, entry and exit.
func (b *builder) devices() {
	for _, m := range b.marks {
		switch m.Structure {
		case mark.Needle, mark.Wire, mark.Lead:
			b.device(m)
		case mark.Contact:
			b.contact(m)
		}
	}
}

func (b *builder) device(m mark.Mark) {
	b.seen[m.Object] = true
	style := Style(m.Object)
	width := 2.2
	if m.Structure == mark.Wire {
		width = 1.4
	}
	s := Stroke{Width: width, Color: style.Color, Dash: style.Dash, Edge: edgeWidth}
	pts := m.Points
	if m.Structure == mark.Lead {
		pts = smooth(m, b.film)
	}
	tip := pts[len(pts)-1]
	entry, hasEntry := b.place(m.Object, "entry")
	exit, hasExit := b.place(m.Object, "exit")
	if hasExit && b.short(m.Object) {
		// The axis beyond the tip to the margin, of which the depth is the length.
		b.scene.Paths = append(b.scene.Paths, Path{Points: []r2.Vec{tip, exit}, Stroke: Stroke{Width: 1.2, Color: style.Color, Dash: Dotted, Edge: 1}})
	}
	b.path(m, pts, false, s)
	line := Stroke{Width: 2, Color: style.Color, Edge: edgeWidth}
	if m.Structure != mark.Lead {
		b.scene.Symbols = append(b.scene.Symbols, Symbol{Key: m.UID, At: tip, Shape: style.Tip, Size: tipSize, Stroke: b.picked(m, line)})
	}
	if hasExit {
		b.scene.Symbols = append(b.scene.Symbols, Symbol{At: exit, Along: r2.Sub(tip, pts[0]), Shape: Across, Size: 12, Stroke: line})
	}
	if hasEntry {
		b.scene.Symbols = append(b.scene.Symbols, Symbol{At: entry, Shape: Cross, Size: 12, Stroke: line})
		b.points = append(b.points, Label{
			Anchors: []r2.Vec{entry}, Clear: 9,
			Lines: []Run{{Words: "entry", Size: labelSize, Color: style.Color}},
		})
	}
	b.names = append(b.names, Label{
		Anchors: []r2.Vec{pts[0]}, Clear: 7, Must: true,
		Lines: []Run{{Words: b.deviceLabel(m.Object), Size: deviceSize, Bold: true, Color: style.Color}},
	})
	if b.film.View != imaging.Lateral || (b.opt.Device != "" && b.opt.Device != m.Object) {
		return
	}
	if figure, words, ok := b.headline(m.Object); ok {
		b.numbers = append(b.numbers, Label{
			Anchors: []r2.Vec{tip}, Clear: 14, Boxed: true, Accent: style.Color, Must: true,
			Lines: []Run{{Words: figure, Size: headSize, Bold: true, Color: White}, {Words: m.Object + " " + words, Size: labelSize, Color: Grey}},
		})
	}
}

// deviceLabel is the object's name and, on a frontal film, its side; on the
// lateral film both sides overlap and the name stands alone.
func (b *builder) deviceLabel(object string) string {
	if b.film.View == imaging.Lateral {
		return object
	}
	for _, d := range b.p.Devices {
		if d.Object == object && d.Side != mark.NoSide && d.SideConflict == "" && b.film.LeftConflict == "" && !b.disputed() {
			return object + " " + string(d.Side)
		}
	}
	return object
}

func (b *builder) contact(m mark.Mark) {
	style := Style(m.Object)
	s := Stroke{Width: 2, Color: style.Color, Edge: edgeWidth}
	at := m.Points[0]
	half := 0.0
	if length, err := strconv.ParseFloat(m.Detail, 64); err == nil && length > 0 && b.film.Scale.Known && b.film.Scale.Column > 0 {
		half = length / 2 / b.film.Scale.Column
	}
	dir, ok := b.leadDirection(m.Object, at)
	if half > 0 && ok {
		s.Width = 6
		b.scene.Paths = append(b.scene.Paths, Path{
			Key: m.UID, Points: []r2.Vec{r2.Sub(at, r2.Scale(half, dir)), r2.Add(at, r2.Scale(half, dir))}, Stroke: b.picked(m, s),
		})
	} else {
		b.scene.Symbols = append(b.scene.Symbols, Symbol{Key: m.UID, At: at, Shape: Square, Size: 9, Fill: style.Color, Stroke: b.picked(m, s)})
	}
	b.handles(m)
	b.points = append(b.points, Label{
		Anchors: []r2.Vec{at}, Clear: 8,
		Lines: []Run{{Words: fmt.Sprint(m.Index), Size: labelSize, Bold: true, Color: style.Color}},
	})
}

// leadDirection is the unit direction, in pixels, of the lead nearest the point.
func (b *builder) leadDirection(object string, at r2.Vec) (r2.Vec, bool) {
	for _, m := range b.marks {
		if m.Structure != mark.Lead || m.Object != object || len(m.Points) < 2 {
			continue
		}
		pts := smooth(m, b.film)
		best, dir := -1.0, r2.Vec{}
		for i := 1; i < len(pts); i++ {
			mid := r2.Scale(0.5, r2.Add(pts[i], pts[i-1]))
			if d := r2.Norm(r2.Sub(mid, at)); best < 0 || d < best {
				best, dir = d, r2.Sub(pts[i], pts[i-1])
			}
		}
		if n := r2.Norm(dir); n > 0 {
			return r2.Scale(1/n, dir), true
		}
	}
	return r2.Vec{}, false
}

func (b *builder) place(object, what string) (r2.Vec, bool) {
	p, ok := b.film.Points[object+"/"+what]
	return r2.Vec{X: p.X, Y: p.Y}, ok
}

// short reports whether the device's tip lies short of the margin.
func (b *builder) short(object string) bool {
	for _, r := range b.p.Results {
		if r.Object == object && r.Quantity == "tip-depth-along-needle" {
			return r.Value < 0
		}
	}
	return false
}

// words fills in the frame around the image.
func (b *builder) words() {
	b.caution("", b.p.Cautions...)
	if c := b.film.CranialConflict; c != "" {
		b.caution("Cranial direction withheld: ", c)
	}
	if c := b.film.LeftConflict; c != "" {
		b.caution("Left and right withheld: ", c)
	}
	if b.film.View == imaging.Frontal && mark.Contradicted(b.film.LeftSource) {
		b.caution("The patient's left on this film: ", b.film.LeftSource)
	}
	var objects []string
	for o := range b.seen {
		objects = append(objects, o)
	}
	sort.Strings(objects)
	on := b.p
	on.Devices = nil
	for _, d := range b.p.Devices {
		if b.seen[d.Object] {
			on.Devices = append(on.Devices, d)
		}
	}
	up := View{Quarter: UpQuarter(b.film.Cranial)}
	b.scene.Chart = NewChart(on, up.EdgeShown(b.scene.Ventral))
	b.scene.Chart.Respond(b.p, b.opt.Responses)
	for i, row := range b.scene.Chart.Rows {
		b.scene.Chart.Rows[i].Missing = note.Nameless(row.Missing, b.p)
	}
	b.scene.Bar.Words = note.Nameless(b.scene.Bar.Words, b.p)
	for _, o := range objects {
		for _, d := range b.p.Devices {
			if d.Object == o {
				line := caseLine(d)
				line.Side, line.Level = note.Nameless(line.Side, b.p), note.Nameless(line.Level, b.p)
				b.scene.Case = append(b.scene.Case, line)
			}
		}
		if s := Numbers(b.p, o, b.film.View); len(s.Rows) > 0 {
			for i := range s.Rows {
				s.Rows[i].Note = note.Nameless(s.Rows[i].Note, b.p)
			}
			b.scene.Numbers = append(b.scene.Numbers, s)
		}
	}
}

// caution adds cautions that are not already said.
func (b *builder) caution(lead string, all ...string) {
	for _, c := range all {
		if object, _, ok := strings.Cut(c, ": "); ok && b.elsewhere(object) {
			continue
		}
		c = note.Nameless(c, b.p)
		said := c == CautionReview || c == CautionDepth // at the foot of every page
		for _, have := range b.scene.Cautions {
			said = said || strings.Contains(have, strings.TrimRight(c, "."))
		}
		if !said {
			b.scene.Cautions = append(b.scene.Cautions, lead+c)
		}
	}
}

// elsewhere reports whether the words name a device that is not on this film.
func (b *builder) elsewhere(object string) bool {
	for _, d := range b.p.Devices {
		if d.Object == object {
			return !b.seen[object]
		}
	}
	return false
}

// headOrder is the order in which a device's numbers are read; what is not
// listed is detail and stands in the report alone.
var headOrder = []string{
	"tip-depth-along-needle", "contacts-beyond-margin", "contact-depth",
	"insertion-angle-chord", "insertion-angle-dorsal", "insertion-angle-fusion",
	"insertion-angle-surface", "insertion-angle-ventral", "insertion-angle-skin", "depth-change",
	"entry-offset-midline", "entry-from-foramen-medial", "entry-from-foramen-superior",
	"tip-offset-midline", "tip-caudal-to-si-line", "frontal-deflection",
}

// Numbers of one device that belong to one view (NoView: to any) in the order
// they are read, each by both films together where they tell it; then what is
// missing of them and why.
func Numbers(p placement.Placement, object string, view imaging.View) Section {
	s := Section{Title: DeviceName(object), Style: Style(object)}
	for i, q := range headOrder {
		found := false
		for _, r := range p.Best() {
			if r.Object != object || r.Quantity != q || !(view == imaging.NoView || r.Plane == string(view) || r.Plane == placement.Plane3D && view == viewOf(q)) {
				continue
			}
			found = true
			s.Rows = append(s.Rows, row(p, r, i == 0))
		}
		if found {
			continue
		}
		for _, m := range p.Missing {
			if m.Object == object && m.Quantity == q && (view == imaging.NoView || view == viewOf(q)) {
				s.Rows = append(s.Rows, Row{Words: quantity.Words(q), Figure: "missing", Note: m.Because})
			}
		}
	}
	return s
}

func row(p placement.Placement, r placement.Result, head bool) Row {
	m := p.Measured(r)
	out := Row{Words: quantity.Words(r.Quantity), Figure: m.Figure(), Head: head && m.Magnified == ""}
	if m.Magnified != "" {
		out.Note = strings.TrimSuffix(m.Headline(), ", "+m.Where())
	}
	switch r.Quantity {
	case "tip-depth-along-needle":
		out.Words = m.WhereVentral()
	case "contact-depth":
		out.Words = fmt.Sprintf("contact %d, %s", r.Contact, r.Class)
		if w, _, _ := strings.Cut(strings.ReplaceAll(m.Where(), ",", ""), " "); w != "at" && w != r.Class && m.Magnified == "" {
			out.Figure += " " + w
		}
	case "contacts-beyond-margin":
		out.Head = true
	default:
		if w := m.Where(); w != "" {
			out.Figure += " " + w
		}
	}
	if out.Head && r.Plane == placement.Plane3D {
		out.Note = "by both films together"
	}
	if r.Quantity == "frontal-deflection" {
		out.Note = quantity.Class(r.Quantity, r.Class)
	}
	return out
}

// viewOf is the view a quantity is read in.
func viewOf(q string) imaging.View {
	switch q {
	case "entry-offset-midline", "entry-from-foramen-medial", "entry-from-foramen-superior",
		"entry-fraction-medial", "entry-fraction-superior", "tip-offset-midline",
		"tip-caudal-to-si-line", "frontal-deflection":
		return imaging.Frontal
	}
	return imaging.Lateral
}
