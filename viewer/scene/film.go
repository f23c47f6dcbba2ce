package scene

import (
	"image/color"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// Sizes in design units.
const (
	labelSize  = 14.0
	deviceSize = 16.0
	headSize   = 22.0
	tipSize    = 15.0
	edgeWidth  = 1.6
)

// Film builds the scene of one film from the marks on it and the placement
// computed from them. Marks of other films are passed over. A side in conflict
// is said to be withheld and never named.
func Film(film placement.FilmReading, marks []mark.Mark, p placement.Placement, opt Options) Scene {
	b := builder{
		scene: Scene{Film: film, Title: title(film.View), Bar: scaleBar(film.Scale)},
		film:  film, p: p, opt: opt, seen: map[string]bool{},
	}
	b.scene.Aspect = aspect(film, b.disputed())
	for _, m := range marks {
		if m.Frame == film.Film.Ref && len(m.Points) > 0 {
			b.marks = append(b.marks, m)
		}
	}
	b.landmarks()
	b.devices()
	b.edges()
	b.words()
	b.order()
	return b.scene
}

type builder struct {
	scene Scene
	film  placement.FilmReading
	marks []mark.Mark
	p     placement.Placement
	opt   Options
	seen  map[string]bool // devices on this film

	names, numbers, points, lines []Label // by falling priority
}

// look of a landmark's line.
type look struct {
	stroke Stroke
	words  string
	smooth bool
}

func landmark(m mark.Mark) (look, bool) {
	bone := func(w float64, d Dash) Stroke {
		return Stroke{Width: w, Color: Bone, Dash: d, Edge: edgeWidth, Open: true}
	}
	mist := func(d Dash) Stroke { return Stroke{Width: 1.5, Color: Mist, Dash: d, Edge: 1.1, Open: true} }
	switch m.Structure {
	case mark.VentralMargin:
		return look{bone(2.4, Solid), "ventral margin", true}, true
	case mark.DorsalMargin:
		return look{bone(1.8, Dashed), "dorsal surface", true}, true
	case mark.SkinLine:
		return look{bone(1.5, Dotted), "skin", true}, true
	case mark.Midline:
		return look{mist(Dotted), "midline", false}, true
	case mark.SILine:
		return look{mist(DashDot), "sacroiliac line", false}, true
	case mark.MedialLine:
		return look{mist(Short), "medial edges of foramina", false}, true
	case mark.FusionLine:
		return look{mist(Dotted), strings.TrimSpace(m.Detail + " fusion line"), false}, true
	case mark.KnownLength:
		return look{mist(Solid), "known length", false}, true
	case mark.Foramen:
		s := Stroke{Width: 1.6, Color: Mist, Edge: 1.2, Open: true}
		switch m.Opening() {
		case "ventral":
			s.Dash = Short
		case "unsure", "":
			s.Dash = Dotted
		}
		return look{s, "", true}, true
	}
	return look{}, false
}

func (b *builder) landmarks() {
	for _, m := range b.marks {
		switch m.Structure {
		case mark.Promontory:
			b.point(m, "promontory")
			continue
		case mark.CoccyxTip:
			b.point(m, "coccyx tip")
			continue
		case mark.SciaticNotch:
			b.point(m, "sciatic notch")
			continue
		}
		l, ok := landmark(m)
		if !ok {
			continue
		}
		if m.Structure == mark.Foramen {
			l.words = b.foramenWords(m)
		}
		if m.Structure == mark.KnownLength && b.film.Scale.Known && m.Detail != "" {
			l.words += " " + m.Detail + " mm"
		}
		pts := m.Points
		closed := m.Structure == mark.Foramen && !m.Open() && len(pts) > 2
		if l.smooth {
			pts = smooth(m, b.film)
		}
		b.path(m, pts, closed, l.stroke)
		if m.Structure == mark.KnownLength && len(pts) == 2 {
			for _, e := range pts {
				b.scene.Symbols = append(b.scene.Symbols, Symbol{Key: m.UID, At: e, Along: r2.Sub(pts[1], pts[0]), Shape: Across, Size: 10, Stroke: l.stroke})
			}
		}
		if m.Structure == mark.MedialLine && b.labelled(l.words) {
			continue // one of the two is enough
		}
		b.lines = append(b.lines, Label{
			Anchors: along(pts), Clear: 6,
			Lines: []Run{{Words: l.words, Size: labelSize, Color: l.stroke.Color}},
		})
	}
}

func (b *builder) labelled(words string) bool {
	for _, l := range b.lines {
		if l.Lines[0].Words == words {
			return true
		}
	}
	return false
}

// foramenWords names level, side and opening; the side is the observer's own
// statement about the mark and is left out where the film's left is disputed.
func (b *builder) foramenWords(m mark.Mark) string {
	w := strings.TrimSpace(string(m.Level))
	if m.Side != mark.NoSide && b.film.LeftConflict == "" && !b.disputed() {
		w += " " + string(m.Side)
	}
	switch m.Opening() {
	case "dorsal", "ventral":
		w += " " + m.Opening() + " opening"
	default:
		w += " foramen"
	}
	return strings.TrimSpace(w)
}

// disputed reports whether any device's side is in conflict: then no side is
// named anywhere on the picture.
func (b *builder) disputed() bool {
	for _, d := range b.p.Devices {
		if d.SideConflict != "" {
			return true
		}
	}
	return false
}

func (b *builder) point(m mark.Mark, words string) {
	for _, p := range m.Points {
		b.scene.Symbols = append(b.scene.Symbols, Symbol{
			Key: m.UID, At: p, Shape: Plus, Size: 13,
			Stroke: b.picked(m, Stroke{Width: 1.8, Color: Bone, Edge: edgeWidth}),
		})
	}
	b.handles(m)
	b.points = append(b.points, Label{
		Anchors: m.Points[:1], Clear: 9,
		Lines: []Run{{Words: words, Size: labelSize, Color: Bone}},
	})
}

func (b *builder) path(m mark.Mark, pts []r2.Vec, closed bool, s Stroke) {
	b.scene.Paths = append(b.scene.Paths, Path{Key: m.UID, Points: pts, Closed: closed, Stroke: b.picked(m, s)})
	b.handles(m)
}

// picked widens the stroke of the mark in hand.
func (b *builder) picked(m mark.Mark, s Stroke) Stroke {
	if m.UID != "" && m.UID == b.opt.Selected {
		s.Width += 1.6
		s.Edge += 1
	}
	return s
}

// handles shows the vertices of the mark in hand.
func (b *builder) handles(m mark.Mark) {
	if m.UID == "" || m.UID != b.opt.Selected {
		return
	}
	for i, p := range m.Points {
		s := Symbol{Key: m.UID, At: p, Shape: Handle, Size: 8, Fill: Dark, Stroke: Stroke{Width: 1.5, Color: White, Edge: 1}}
		if i == b.opt.Vertex {
			s.Size, s.Fill = 11, White
		}
		b.scene.Symbols = append(b.scene.Symbols, s)
	}
}

// along gives places on a line for its label: a point near its end first, then
// others from end to start.
func along(pts []r2.Vec) []r2.Vec {
	if len(pts) < 3 {
		if len(pts) == 2 {
			at := func(t float64) r2.Vec { return r2.Add(pts[0], r2.Scale(t, r2.Sub(pts[1], pts[0]))) }
			return []r2.Vec{at(0.04), at(0.96), at(0.8), at(0.2), at(0.5)}
		}
		return pts
	}
	var out []r2.Vec
	for _, t := range []float64{0.82, 0.92, 0.7, 0.98, 0.15, 0.55, 0.05, 0.4, 0.28} {
		out = append(out, pts[int(t*float64(len(pts)-1))])
	}
	return out
}

// edges names the directions at the edges.
func (b *builder) edges() {
	ink := White
	add := func(e imaging.Edge, words string, large bool) {
		if e != imaging.NoEdge {
			b.scene.Edges = append(b.scene.Edges, EdgeWord{Edge: e, Words: words, Large: large, Color: ink})
		}
	}
	add(b.film.Cranial, "cranial", false)
	switch b.film.View {
	case imaging.Frontal:
		if b.film.LeftConflict == "" && !b.disputed() {
			if mark.Contradicted(b.film.LeftSource) {
				ink = Vermillion // disputed; words says by what
			}
			add(b.film.PatientLeft, "L", true)
			add(b.film.PatientLeft.Opposite(), "R", true)
		}
	case imaging.Lateral:
		v := b.ventral()
		b.scene.Ventral = v
		add(v, "ventral", false)
		add(v.Opposite(), "dorsal", false)
	}
}

// ventral is the edge the patient's front lies at: as the marked curves lie
// where both are marked, else by the header. Where the two disagree the words
// are left out and a caution says so.
func (b *builder) ventral() imaging.Edge {
	byHeader, byMarks := headerVentral(b.film), b.markedVentral()
	if byHeader != imaging.NoEdge && byMarks != imaging.NoEdge && byHeader != byMarks {
		b.scene.Cautions = append(b.scene.Cautions, "Header and marks put the patient's front on different edges of the lateral film.")
		return imaging.NoEdge
	}
	if byMarks != imaging.NoEdge {
		return byMarks
	}
	return byHeader
}

// markedVentral is the edge towards which the ventral margin lies from the
// dorsal surface, or from the devices' outer ends; NoEdge where neither is
// marked or cranial is not known.
func (b *builder) markedVentral() imaging.Edge {
	var ventral, dorsal, hubs mean
	for _, m := range b.marks {
		switch m.Structure {
		case mark.VentralMargin:
			ventral.add(m.Points...)
		case mark.DorsalMargin:
			dorsal.add(m.Points...)
		case mark.Needle, mark.Wire, mark.Lead:
			hubs.add(m.Points[0])
		}
	}
	if dorsal.n == 0 {
		dorsal = hubs
	}
	if ventral.n == 0 || dorsal.n == 0 {
		return imaging.NoEdge
	}
	d := r2.Sub(ventral.at(), dorsal.at())
	switch b.film.Cranial {
	case imaging.Top, imaging.Bottom:
		if d.X < 0 {
			return imaging.Left
		}
		return imaging.Right
	case imaging.Left, imaging.Right:
		if d.Y < 0 {
			return imaging.Top
		}
		return imaging.Bottom
	}
	return imaging.NoEdge
}

type mean struct {
	sum r2.Vec
	n   int
}

func (m *mean) add(p ...r2.Vec) {
	for _, q := range p {
		m.sum = r2.Add(m.sum, q)
		m.n++
	}
}

func (m mean) at() r2.Vec { return r2.Scale(1/float64(max(m.n, 1)), m.sum) }

// order puts the labels by priority.
func (b *builder) order() {
	for _, l := range [][]Label{b.names, b.numbers, b.points, b.lines} {
		b.scene.Labels = append(b.scene.Labels, l...)
	}
}

// headline of a device on this film: the depth's figure and its words. A
// magnified depth is no headline: it stands among the numbers, said to be so.
func (b *builder) headline(object string) (depth, words string, ok bool) {
	for _, r := range b.p.Best() {
		if r.Object == object && r.Quantity == "tip-depth-along-needle" && !r.Magnified {
			m := b.p.Measured(r)
			return m.Figure(), m.WhereVentral(), true
		}
	}
	return "", "", false
}

func withAlpha(c color.NRGBA, a uint8) color.NRGBA { c.A = a; return c }
