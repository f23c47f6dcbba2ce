package placement

import (
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/carm"
	"leadline/measure/mark"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// Compute reads every film and computes every quantity that the book's marks
// allow. What they do not allow is listed as missing, with the mark that would
// mend it. It never fails: what contradicts itself is said in the cautions, and
// in the devices and films concerned.
func Compute(films []Film, book mark.Book, opt Options) Placement {
	w := &work{book: book, opt: opt, bare: opt.ValuesOnly}
	w.read(films)
	objects := w.objects()
	for _, o := range objects {
		w.lateralFilms(o)
	}
	for _, o := range objects {
		w.frontalFilms(o)
	}
	w.crossings(objects)
	w.spaces(objects)
	for _, o := range objects {
		w.sides(o)
	}
	for _, o := range objects {
		w.decide(o)
	}
	w.holdTogether(objects)
	w.changes(objects)
	w.positions(objects)
	w.identities(objects)
	w.report(objects)
	w.caution(objects)
	return w.out
}

// work is one computation on its way.
type work struct {
	book   mark.Book
	opt    Options
	films  []*sheet
	values []*computed
	out    Placement
	bare   bool // values only, no budget: what Monte Carlo needs
	// streams are the draws of inputs, by name.
	streams map[string][]float64
	couples map[[2]*sheet]*couple
	gaps    []string // cautions of rays that miss each other
	turns   map[*sheet]turn
}

// sheet is a film with its marks.
type sheet struct {
	reading *FilmReading
	read    mark.Reading
	plane   plane
	marks   []mark.Mark
	camera  *carm.Camera
	cranial r2.Vec // unit vector on the plane; zero: not known
	noHead  string
	twice   map[string]bool // structures and devices marked more than once
}

// object is a device at one position.
type object struct {
	name     string
	kind     mark.Structure
	device   *Device
	sides    []mark.SideDecision
	halves   map[*sheet]float64 // which half of a frontal film it entered in: +1 or -1, as its midline counts
	heights  []string           // films on which the heights of its tip differ
	openings []outline          // the dorsal openings its entry lies in
	lateral  []*sounding
	frontal  []*sounding
	space    *spaceSounding // both films together; nil where they do not tell
	missing  []Missing
}

// sounding is one film's evaluation of one object.
type sounding struct {
	sheet   *sheet
	lateral *lateral
	frontal *frontal
	found   *found
	terms   [][]quantity.Term
	drawn   *drawnValues
	partner *sounding // frontal: the lateral film its entry came from
}

// value of a slot with its causes of uncertainty; lengths on a plane of
// unknown magnification carry that.
func (s *sounding) value(slot int, length bool) quantity.Value {
	v := quantity.Value{Estimate: s.found.v[slot], Terms: s.terms[slot]}
	s.drawn.spread(&v, slot)
	if length {
		v.MaxMagnification = s.sheet.reading.Scale.MaxMagnification
	}
	return v
}

// computed is a quantity before side and level are known.
type computed struct {
	object   *object
	quantity string
	plane    string
	value    quantity.Value
	unit     string
	bare     bool // carries no interval
	class    string
	contact  int
	of       string
	sheets   []*sheet
	length   bool
	notes    []string
}

// read decides each film's view, orientation and scale.
func (w *work) read(films []Film) {
	w.out.Films = make([]FilmReading, len(films))
	for i, f := range films {
		r := &w.out.Films[i]
		s := &sheet{reading: r}
		for _, m := range w.book.Marks {
			if m.Frame == f.Ref && len(m.Points) > 0 {
				s.marks = append(s.marks, m)
			}
		}
		s.twice = twice(s.marks)
		read := mark.Read(f.Ref, f.Geometry, w.book)
		s.read = read
		*r = FilmReading{
			Film: f, View: read.View, ViewSource: read.ViewSource,
			Cranial: read.Cranial, CranialSource: read.CranialSource, CranialConflict: read.CranialConflict,
			PatientLeft: read.PatientLeft, LeftSource: read.LeftSource,
			LeftConfirmed: read.LeftConfirmed, LeftConflict: read.LeftConflict,
			Scale: scale.From(f.Geometry, w.knownLengths(s)), Points: map[string]Point{},
		}
		s.plane = planeOf(r.Scale)
		s.noHead = "which way is cranial is not known: confirm it, or mark promontory and coccyx-tip on this film"
		if read.CranialConflict != "" {
			s.noHead = read.CranialConflict
		}
		if x, y := read.Cranial.Direction(); x != 0 || y != 0 {
			s.cranial, s.noHead = r2.Vec{X: x, Y: y}, ""
		}
		s.camera = cameraOf(r)
		if s.camera != nil && r.View == imaging.Lateral && !s.backAsMarked() {
			s.camera = nil
			w.gaps = append(w.gaps, r.Film.File+": dorsal and ventral margin are marked on other sides than the header puts back and front: exchange them, or the film is mirrored.")
		}
		w.films = append(w.films, s)
	}
}

func (w *work) knownLengths(s *sheet) []scale.Known {
	var out []scale.Known
	for _, m := range s.marks {
		// A device points along the beam of a frontal film: its length there is
		// foreshortened by more than a scale may be off, and serves both films
		// together alone.
		if m.Structure != mark.KnownLength || len(m.Points) != 2 || m.Object != "" && s.read.View == imaging.Frontal {
			continue
		}
		if mm, ok := m.Length(); ok {
			out = append(out, scale.Known{A: m.Points[0], B: m.Points[1], Length: mm, SD: w.sd(m)})
		}
	}
	return out
}

func (w *work) sd(m mark.Mark) float64 { return markingSD(m.SD, mark.DefaultSD(m.Structure), w.opt) }

func (w *work) drawn(m mark.Mark) drawn {
	key := strings.Join([]string{m.Frame.Instance, m.Frame.Span(), string(m.Structure), m.Object, strconv.Itoa(m.Index), string(m.Level), string(m.Side)}, "/")
	return drawn{uid: m.UID, key: key, name: string(m.Structure), px: m.Points, sd: w.sd(m), lead: m.Structure == mark.Lead}
}

// cameraOf is the film's camera where the header gives one and nothing known of
// the film contradicts it: stored pixels that were turned otherwise than the
// header tells would send epipolar lines astray.
func cameraOf(r *FilmReading) *carm.Camera {
	g := r.Film.Geometry
	if v, ok := g.ViewByAngles(); !ok || v != r.View || r.LeftConflict != "" {
		return nil
	}
	c, err := carm.FromGeometry(g)
	if err != nil {
		return nil
	}
	o, ok := carm.Orientation(g)
	if !ok || r.Cranial != imaging.NoEdge && o.EdgeOf('H') != r.Cranial {
		return nil
	}
	if r.View == imaging.Frontal && r.PatientLeft != imaging.NoEdge && o.EdgeOf('L') != r.PatientLeft {
		return nil
	}
	if p := (imaging.Orientation{Row: g.PatientOrientation[0], Column: g.PatientOrientation[1]}); p.Known() {
		for _, letter := range []byte("LAH") {
			if a, b := p.EdgeOf(letter), o.EdgeOf(letter); a != imaging.NoEdge && b != imaging.NoEdge && a != b {
				return nil
			}
		}
	}
	return &c
}

func isDevice(s mark.Structure) bool {
	return s == mark.Needle || s == mark.Wire || s == mark.Lead
}

// objects lists the devices that are marked anywhere, by name.
func (w *work) objects() []*object {
	byName := map[string]*object{}
	for _, s := range w.films {
		for _, m := range s.marks {
			if isDevice(m.Structure) && m.Object != "" && byName[m.Object] == nil {
				byName[m.Object] = &object{name: m.Object, kind: m.Structure, halves: map[*sheet]float64{}}
			}
		}
	}
	out := make([]*object, 0, len(byName))
	for _, o := range byName {
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b *object) int { return natural(a.name, b.name) })
	w.out.Devices = make([]Device, len(out))
	for i, o := range out {
		o.device = &w.out.Devices[i]
		*o.device = Device{Object: o.name, Kind: o.kind}
	}
	return out
}

// natural order: N2 before N10, N1 before N1.2.
func natural(a, b string) int {
	for len(a) > 0 && len(b) > 0 {
		da, db := digits(a), digits(b)
		if da > 0 && db > 0 {
			x, y := strings.TrimLeft(a[:da], "0"), strings.TrimLeft(b[:db], "0")
			if len(x) != len(y) {
				return len(x) - len(y)
			}
			if c := strings.Compare(x, y); c != 0 {
				return c
			}
			a, b = a[da:], b[db:]
			continue
		}
		if a[0] != b[0] {
			return int(a[0]) - int(b[0])
		}
		a, b = a[1:], b[1:]
	}
	return len(a) - len(b)
}

func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}

// once are the structures that a film can hold one of.
var once = []mark.Structure{mark.VentralMargin, mark.DorsalMargin, mark.SkinLine, mark.Midline, mark.SILine}

// twice lists what is marked more than once although there is one of it: which
// one is meant cannot be known, so none is measured.
func twice(marks []mark.Mark) map[string]bool {
	n := map[string]int{}
	for _, m := range marks {
		switch {
		case slices.Contains(once, m.Structure):
			n[string(m.Structure)]++
		case isDevice(m.Structure):
			n[m.Object]++
		}
	}
	out := map[string]bool{}
	for k, v := range n {
		if v > 1 {
			out[k] = true
		}
	}
	return out
}

// first mark of a structure on the sheet, or nothing.
func (s *sheet) first(structure mark.Structure) (mark.Mark, bool) {
	if s.twice[string(structure)] {
		return mark.Mark{}, false
	}
	for _, m := range s.marks {
		if m.Structure == structure {
			return m, true
		}
	}
	return mark.Mark{}, false
}

// device mark of an object on the sheet.
func (s *sheet) device(name string) (mark.Mark, bool) {
	if s.twice[name] {
		return mark.Mark{}, false
	}
	for _, m := range s.marks {
		if isDevice(m.Structure) && m.Object == name {
			return m, true
		}
	}
	return mark.Mark{}, false
}

// named is the drawn mark of a structure, or one with only its name.
func (w *work) named(s *sheet, structure mark.Structure) drawn {
	if m, ok := s.first(structure); ok {
		return w.drawn(m)
	}
	d := drawn{name: string(structure)}
	if s.twice[d.name] {
		d.lack = d.name + " is marked twice on this film: delete one"
	}
	return d
}

func (w *work) deviceLine(s *sheet, m mark.Mark) line {
	d := w.drawn(m)
	if !d.lead {
		return line{drawn: d.decided(s.plane)}
	}
	return arranged(d, s.plane, openForm)
}

// point keeps a slot pair as a point of interest of the film.
func (s *sheet) point(f *found, name string, x, y int) {
	if f.v[x] == f.v[x] && f.v[y] == f.v[y] { // both not NaN
		s.reading.Points[name] = Point{X: f.v[x], Y: f.v[y]}
	}
}
