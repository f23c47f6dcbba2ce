// Package handout makes what is handed on of a case from scene and report
// together: the sheet, one printed page for the record, and what an archive takes
// beside the report: the sheet as a document, marks over the original frames,
// annotated pictures. Their UIDs follow from the report's (see sidecar.Report),
// so that they are drafts until it is issued and have successors as it has.
package handout

import (
	"cmp"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/quantity"
	"leadline/measure/response"
	"leadline/measure/sidecar"
	"leadline/viewer/paint"
	"leadline/viewer/scene"
)

// The page is ISO 216 A4, in points of 1/72 inch.
const (
	pageWidth, pageHeight = 595.28, 841.89
	margin                = 30.0
	lowest                = 6.0 // points: smaller print cannot be read
	largest               = 9.0
)

// Inks of print on white. The caution's is the darker half of the screen's
// vermillion, so that it reads on paper.
var (
	black   = color.NRGBA{0x14, 0x16, 0x1A, 0xFF}
	grey    = color.NRGBA{0x50, 0x55, 0x5C, 0xFF}
	caution = color.NRGBA{0x9A, 0x43, 0x00, 0xFF}
	hair    = color.NRGBA{0xB8, 0xBC, 0xC2, 0xFF}
)

// Picture is a marked film with its pixels as displayed, in their stored
// orientation, and the window they are displayed through, of no width where it is
// a table.
type Picture struct {
	Film   placement.FilmReading
	Gray   *image.Gray
	Window imaging.Window
}

// WriteSheet writes the case on one A4 page as PDF: who it is of, side and level
// with what they rest on, the frontal and the lateral film with their marks, the
// sounding chart, every figure with its budget, the cautions, and who marked when.
// Equal reports give equal bytes.
//
// Where sources of a side disagree it refuses with an error that wraps
// imaging.ErrConflict; what does not fit on one page legibly is refused with
// imaging.ErrBadInput.
func WriteSheet(w io.Writer, r sidecar.Report, films []Picture) error {
	if err := r.Placement.SideConflict(); err != nil {
		return err
	}
	if len(r.Placement.Devices) == 0 {
		return fmt.Errorf("%w: no needle, wire or lead is marked, so there is nothing to print: mark one first", imaging.ErrBadInput)
	}
	if len(r.Images) == 0 {
		return fmt.Errorf("%w: the report names no image", imaging.ErrBadInput)
	}
	for size := largest; size >= lowest; size -= 0.25 {
		if page, ok := lay(r, films, size); ok {
			return paint.WritePDF(w, page)
		}
	}
	return fmt.Errorf("%w: %d devices and their figures do not fit legibly on one page: 'leadline note' tells them at any length", imaging.ErrBadInput, len(r.Placement.Devices))
}

// sheet is a page being laid out, from the top down.
type sheet struct {
	layer scene.Layer
	y     float64 // foot of what stands so far
	size  float64 // of running text, points
}

// lay sets the page in running text of the size; ok is false where it runs over.
func lay(r sidecar.Report, films []Picture, size float64) (paint.Printed, bool) {
	p, h := r.Placement, r.Images[0]
	whole := scene.Box(0, 0, pageWidth, pageHeight)
	s := sheet{layer: scene.Layer{Clip: whole}, y: margin, size: size}
	page := paint.Printed{W: pageWidth, H: pageHeight, Title: "Placement sheet", Made: r.Changed}

	s.line(margin, "Placement sheet", 15, true, black)
	s.line(margin, identity(h), size+1, false, black)
	s.rule()
	for _, d := range p.Devices {
		s.device(d)
	}
	s.y += 4
	scenes := make([]scene.Scene, len(films))
	for i, f := range films {
		scenes[i] = scene.Film(f.Film, marksOn(f.Film, r.Book), p, scene.Options{Vertex: -1, Responses: r.Responses})
	}
	page.Films = s.films(films, scenes)
	chart := s.chart(p, r.Responses, scenes)
	s.figures(p)
	s.missing(p)
	s.block("Cautions", cautions(p), caution)
	s.rule()
	s.wrapped(margin, pageWidth-2*margin, provenance(r), size-1, grey)
	page.Under = scene.Drawing{Layers: []scene.Layer{s.layer}}
	page.Under.Add(chart)
	return page, s.y <= pageHeight-margin/2
}

// identity as the images have it.
func identity(h *imaging.Header) string {
	told := func(s string) string {
		if s = strings.TrimSpace(s); s == "" {
			return "not given"
		}
		return s
	}
	name := strings.Join(strings.FieldsFunc(h.PatientName, func(r rune) bool { return r == '^' || r == '=' }), " ")
	return fmt.Sprintf("Patient: %s    ID: %s    Born: %s    Study: %s, accession %s", told(name), told(h.PatientID), told(day(h.PatientBirthDate)), told(day(h.StudyDate)), told(h.AccessionNumber))
}

// day writes a DICOM date (PS3.5 6.2, DA) as 2026-01-31.
func day(s string) string {
	if len(s) != 8 {
		return s
	}
	return s[:4] + "-" + s[4:6] + "-" + s[6:]
}

func provenance(r sidecar.Report) string {
	return fmt.Sprintf("Marked by %s. Revision %d, changed %s. Made by Leadline from the marks of that revision; report %s. For review and teaching after the case; local rules and the judgement of those licensed to practise come first.",
		r.Book.Observer, r.Revision, r.Changed.UTC().Format("2006-01-02 15:04 UTC"), r.SOPInstance)
}

// cautions in the order in which they were found, no file named.
func cautions(p placement.Placement) []string {
	var out []string
	for _, c := range note.Cautions(p) {
		if c = note.Nameless(c, p); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

func marksOn(f placement.FilmReading, b mark.Book) []mark.Mark {
	var on []mark.Mark
	for _, m := range b.Marks {
		if m.Frame == f.Film.Ref {
			on = append(on, m)
		}
	}
	return on
}

func (s *sheet) text(x, y float64, words string, size float64, bold bool, c color.NRGBA) float64 {
	s.layer.Texts = append(s.layer.Texts, scene.Text{X: x, Y: y, Words: words, Size: size, Bold: bold, Color: c})
	return scene.Advance(words, size, bold)
}

// line sets one line below what stands.
func (s *sheet) line(x float64, words string, size float64, bold bool, c color.NRGBA) {
	s.y += size * scene.LineHeight
	s.text(x, s.y, words, size, bold, c)
}

func (s *sheet) wrapped(x, width float64, words string, size float64, c color.NRGBA) {
	for _, l := range scene.Wrap(words, size, false, width) {
		s.line(x, l, size, false, c)
	}
}

func (s *sheet) rule() {
	s.y += 4
	s.layer.Lines = append(s.layer.Lines, scene.Line{Points: []r2.Vec{{X: margin, Y: s.y}, {X: pageWidth - margin, Y: s.y}}, Width: 0.5, Color: hair})
}

// device sets side and level large, with what they rest on.
func (s *sheet) device(d placement.Device) {
	s.y += 15
	x := margin + s.text(margin, s.y, d.Object, 12, false, black) + 8
	x += s.text(x, s.y, scene.SideLevel(d), 12, true, black) + 12
	ink := grey
	if !d.SideConfirmed || !d.LevelConfirmed || mark.Contradicted(d.SideSource) || mark.Contradicted(d.LevelSource) {
		ink = caution
	}
	lines := scene.Wrap(scene.SideBasis(d)+"; "+scene.LevelBasis(d), s.size, false, pageWidth-margin-x)
	for i, l := range lines {
		if i > 0 {
			s.y += s.size * scene.LineHeight
		}
		s.text(x, s.y, l, s.size, false, ink)
	}
}

// films sets the pictures beside each other, in their own proportions.
func (s *sheet) films(films []Picture, scenes []scene.Scene) []paint.Placed {
	if len(films) == 0 {
		return nil
	}
	const gap = 8.0
	n := float64(max(len(films), 2))
	side := (pageWidth - 2*margin - gap*(n-1)) / n
	s.y += s.size * scene.LineHeight
	top, foot := s.y+4, 0.0
	var out []paint.Placed
	for i, f := range films {
		x := margin + float64(i)*(side+gap)
		s.text(x, s.y, scene.Fit(strings.TrimSuffix(scenes[i].Title+", "+scenes[i].Aspect, ", "), s.size, true, side), s.size, true, black)
		v := scene.NewView(f.Film, scene.Box(x, top, side, side), 0.5)
		b := f.Gray.Bounds()
		w, h := float64(b.Dx())*v.Shape.X*v.Zoom, float64(b.Dy())*v.Shape.Y*v.Zoom
		if v.Quarter%2 != 0 {
			w, h = h, w
		}
		v.Pane = scene.Box(x+(side-w)/2, top, w, h)
		out = append(out, paint.Placed{Gray: f.Gray, View: v, Over: scenes[i].Draw(v)})
		foot = math.Max(foot, v.Pane.Max.Y)
	}
	s.y = foot + 4
	return out
}

// chart sets the sounding chart of every device on its dark ground.
func (s *sheet) chart(p placement.Placement, tests []response.Test, scenes []scene.Scene) scene.Drawing {
	ventral := imaging.NoEdge
	for _, c := range scenes {
		if c.Film.View == imaging.Lateral && c.Ventral != imaging.NoEdge {
			ventral = scene.NewView(c.Film, scene.Box(0, 0, 1, 1), 1).EdgeShown(c.Ventral)
		}
	}
	c := scene.NewChart(p, ventral)
	c.Respond(p, tests)
	const unit = 0.55
	width := pageWidth - 2*margin
	s.line(margin, "Sounding chart: tip or contacts against the ventral margin, with the 95 % interval", s.size, true, black)
	box := scene.Box(margin, s.y+4, width, c.Height(width-8, unit)+4)
	s.layer.Fills = append(s.layer.Fills, scene.Fill{Color: scene.Ground, Points: []r2.Vec{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}}})
	s.y = box.Max.Y + 2
	d, _ := c.Draw(box.Inset(2), unit)
	return d
}

// Row is one figure of the sheet, worded.
type Row struct{ Object, Name, Figure, Budget string }

// Rows are the figures of a sheet: one value of each quantity, as they are told
// everywhere, with the standard uncertainty from each source.
func Rows(p placement.Placement) []Row {
	var out []Row
	best := p.Best()
	slices.SortStableFunc(best, func(a, b placement.Result) int {
		return cmp.Or(place(p, a.Object)-place(p, b.Object), rank(a.Quantity)-rank(b.Quantity))
	})
	for _, r := range best {
		figure := p.Measured(r).Headline()
		if class := quantity.Class(r.Quantity, r.Class); class != "" && !strings.Contains(figure, class) {
			figure += ", " + class
		}
		out = append(out, Row{r.Object, note.Name(r), figure, budget(r)})
	}
	return out
}

// place of an object among the devices; what belongs to none comes last.
func place(p placement.Placement, object string) int {
	if i := slices.IndexFunc(p.Devices, func(d placement.Device) bool { return d.Object == object }); i >= 0 {
		return i
	}
	return len(p.Devices)
}

// first are the figures an operation note begins with, in its order.
var first = []string{"tip-depth-along-needle", "contact-depth", "contacts-beyond-margin", "insertion-angle-chord", "entry-offset-midline"}

func rank(quantity string) int {
	if i := slices.Index(first, quantity); i >= 0 {
		return i
	}
	return len(first)
}

// slight is the part of a figure's largest source of uncertainty below which
// another one is left out: it adds less than 0.02 % to their root sum of squares.
const slight = 0.02

// budget names the sources by falling weight.
func budget(r placement.Result) string {
	var names []string
	most := 0.0
	for _, u := range r.Budget {
		most = max(most, u)
	}
	for name, u := range r.Budget {
		if u > slight*most {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		switch d := r.Budget[b] - r.Budget[a]; {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return strings.Compare(a, b)
	})
	for i, name := range names {
		names[i] = fmt.Sprintf("%s %.2g", name, r.Budget[name])
	}
	return strings.Join(names, ", ")
}

// figures sets them in two columns, each with its budget in small type below.
func (s *sheet) figures(p placement.Placement) {
	s.line(margin, "Figures, ± half the 95 % interval; below each, its standard uncertainties by source, none below a fiftieth of the largest", s.size, true, black)
	rows := Rows(p)
	const gap = 14.0
	width := (pageWidth - 2*margin - gap) / 2
	top, foot := s.y, 0.0
	for column, part := range [][]Row{rows[:(len(rows)+1)/2], rows[(len(rows)+1)/2:]} {
		x := margin + float64(column)*(width+gap)
		s.y = top
		for _, r := range part {
			s.y += s.size * 1.3
			w := scene.Advance(r.Figure, s.size, true)
			words := r.Object + " " + r.Name
			if scene.Advance(words, s.size, false)+w+6 > width {
				s.text(x, s.y, words, s.size, false, black)
				s.y += s.size * scene.LineHeight
			} else {
				s.text(x, s.y, words, s.size, false, black)
			}
			s.text(x+width-w, s.y, r.Figure, s.size, true, black)
			if r.Budget != "" {
				s.wrapped(x, width, r.Budget, s.size*0.72, grey)
			}
		}
		foot = math.Max(foot, s.y)
	}
	s.y = foot
	var scales []string
	for _, r := range p.Best() {
		if r.Scale != "" && !slices.Contains(scales, r.Scale) {
			scales = append(scales, r.Scale)
		}
	}
	if len(scales) > 0 {
		s.wrapped(margin, pageWidth-2*margin, "Scale: "+note.Nameless(strings.Join(scales, "; "), p)+".", s.size, black)
	}
}

// missing tells what cannot be computed, once for those that share the reason.
func (s *sheet) missing(p placement.Placement) {
	var reasons []string
	of := map[string][]string{}
	for _, m := range p.Missing {
		if of[m.Because] == nil {
			reasons = append(reasons, m.Because)
		}
		of[m.Because] = append(of[m.Because], m.Object+" "+quantity.Words(m.Quantity))
	}
	var lines []string
	for _, r := range reasons {
		lines = append(lines, strings.Join(of[r], ", ")+": "+note.Nameless(r, p))
	}
	s.block("Missing", lines, grey)
}

func (s *sheet) block(title string, lines []string, c color.NRGBA) {
	if len(lines) == 0 {
		return
	}
	s.y += 2
	s.line(margin, title, s.size, true, black)
	for _, l := range lines {
		s.wrapped(margin, pageWidth-2*margin, l, s.size-0.5, c)
	}
}
