package placement

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// A case simple enough for pencil and paper. Lateral film at +90, 0.2 mm a
// pixel at the centre of the field (0.25 mm at the detector, magnified 1.25),
// head up, the back to the right: P\F. The dorsal surface is the vertical line
// column 600, the ventral margin the vertical line column 500, and the needle
// runs from (700, 300) to (460, 540): 45 degrees, so it enters at (600, 400)
// and leaves at (500, 500), and its tip lies 40 columns x 1.41421 x 0.2 mm =
// 11.3137 mm beyond the margin along the needle and 8 mm square to it.
const (
	lateralUID = "1.2.3.1"
	frontalUID = "1.2.3.2"
)

func header(uid string, primary float64, row, column string) *imaging.Header {
	s := imaging.Spacing{Row: 0.25, Column: 0.25, Known: true}
	return &imaging.Header{
		File: uid + ".dcm", SOPInstance: uid, Study: "1.2.3", Columns: 1024, Rows: 1024, Frames: 1,
		Base: imaging.Geometry{
			Kind: imaging.KindXA, Columns: 1024, Rows: 1024, ImagerSpacing: s,
			SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(800),
			PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(0),
			PatientOrientation: [2]string{row, column}, PatientPosition: "HFP",
		},
	}
}

func headers() []*imaging.Header {
	return []*imaging.Header{header(lateralUID, 90, "P", "F"), header(frontalUID, 180, "R", "F")}
}

var uids int

func drawnMark(instance string, s mark.Structure, object string, points ...float64) mark.Mark {
	uids++
	m := mark.Mark{UID: fmt.Sprint("2.25.", uids), Frame: mark.One(instance, 1), Structure: s, Object: object, Origin: mark.ByHand}
	for i := 0; i < len(points); i += 2 {
		m.Points = append(m.Points, r2.Vec{X: points[i], Y: points[i+1]})
	}
	return m
}

func column(instance string, s mark.Structure, x float64, n int) mark.Mark {
	var p []float64
	for i := range n {
		p = append(p, x, 200+600*float64(i)/float64(n-1))
	}
	return drawnMark(instance, s, "", p...)
}

func simple() mark.Book {
	b := mark.Book{Observer: "Observer A"}
	fusion := drawnMark(lateralUID, mark.FusionLine, "", 500, 450, 600, 450)
	fusion.Detail = "S3/S4"
	foramen := mark.Mark{}
	{
		var p []float64
		for i := range 12 { // circle of radius 40 pixels about (640, 400)
			a := 2 * math.Pi * float64(i) / 12
			p = append(p, 640+40*math.Cos(a), 400+40*math.Sin(a))
		}
		foramen = drawnMark(frontalUID, mark.Foramen, "", p...)
		foramen.Detail, foramen.Level, foramen.Side = "dorsal", "S3", mark.RightSide
	}
	b.Marks = []mark.Mark{
		column(lateralUID, mark.VentralMargin, 500, 9),
		column(lateralUID, mark.DorsalMargin, 600, 7),
		column(lateralUID, mark.SkinLine, 680, 6),
		fusion,
		drawnMark(lateralUID, mark.Needle, "N1", 700, 300, 460, 540),
		// Frontal at 180, seen from behind: the patient's right is on the right.
		column(frontalUID, mark.Midline, 512, 2),
		drawnMark(frontalUID, mark.SILine, "", 300, 380, 720, 380),
		drawnMark(frontalUID, mark.Needle, "N1", 640, 300, 620, 540),
		foramen,
	}
	return b
}

func compute(b mark.Book, hs []*imaging.Header, opt Options) Placement {
	return Compute(Films(hs, b), b, opt)
}

func (p Placement) get(t *testing.T, object, quantity, plane string) Result {
	t.Helper()
	for _, r := range p.Results {
		if r.Object == object && r.Quantity == quantity && r.Plane == plane {
			return r
		}
	}
	t.Fatalf("no %s of %s in plane %s; missing: %v", quantity, object, plane, p.Missing)
	return Result{}
}

func (p Placement) because(object, quantity string) string {
	for _, m := range p.Missing {
		if m.Object == object && m.Quantity == quantity {
			return m.Because
		}
	}
	return ""
}

func TestByHand(t *testing.T) {
	p := compute(simple(), headers(), Options{})
	for _, c := range []struct {
		quantity, plane, unit string
		want                  float64
	}{
		{"tip-depth-along-needle", "lateral", "mm", 40 * math.Sqrt2 * 0.2},
		{"tip-depth-perpendicular", "lateral", "mm", 8},
		{"insertion-angle-dorsal", "lateral", "deg", 45}, // from tip to hub: up and dorsal; cranial: up
		{"insertion-angle-chord", "lateral", "deg", 45},
		{"insertion-angle-ventral", "lateral", "deg", 45},
		{"insertion-angle-skin", "lateral", "deg", 45},
		{"insertion-angle-fusion", "lateral", "deg", 45},
	} {
		r := p.get(t, "N1", c.quantity, c.plane)
		if math.Abs(r.Value-c.want) > 1e-9 || r.Unit != c.unit {
			t.Errorf("%s = %.6f %s, want %.6f %s", c.quantity, r.Value, r.Unit, c.want, c.unit)
		}
		if !r.HasU || !(r.U95 > 0) || math.Abs(r.Hi-r.Lo-2*r.U95) > 1e-9 {
			t.Errorf("%s: interval %g %g %g", c.quantity, r.U95, r.Lo, r.Hi)
		}
		if (r.Scale != "") != (c.unit == "mm") {
			t.Errorf("%s: scale %q", c.quantity, r.Scale)
		}
	}
	// On the lateral film the entry lies 88 columns x 0.2 = 17.6 mm behind the
	// centre and 112 rows x 0.2 = 22.4 mm above it, in the plane through the
	// isocentre. The source is 800 mm to the patient's right, so at x mm to the
	// left of the midline the ray has spread by k = (800 + x) / 800. On the
	// frontal film, detector behind, it is magnified by 1000 / (800 + 17.6 k).
	// The entry is where that meets the shaft (by hand, iterated).
	x, row, entry := 0.0, 0.0, 0.0
	for range 50 {
		k := (800 + x) / 800
		m := 1000 / (800 + 17.6*k) / 0.25 // pixels a mm there
		row = 512 - 22.4*k*m
		entry = 640 - 20*(row-300)/240
		x = -(entry - 512) / m
	}
	r := p.get(t, "N1", "entry-offset-midline", "frontal")
	if want := (entry - 512) * 0.2; math.Abs(r.Value-want) > 1e-6 {
		t.Errorf("entry-offset-midline = %.4f, want %.4f", r.Value, want)
	}
	if d := p.get(t, "N1", "tip-offset-midline", "frontal").Value; math.Abs(d-(620-512)*0.2) > 1e-9 {
		t.Errorf("tip-offset-midline %g", d)
	}
	if d := p.get(t, "N1", "tip-caudal-to-si-line", "frontal").Value; math.Abs(d-(540-380)*0.2) > 1e-9 {
		t.Errorf("tip-caudal-to-si-line %g", d)
	}
	if d := p.get(t, "N1", "entry-from-foramen-superior", "frontal").Value; math.Abs(d-(row-360)*0.2) > 0.005 {
		t.Errorf("entry-from-foramen-superior %g, want %g", d, (row-360)*0.2)
	}
	half := math.Sqrt(40*40 - (row-400)*(row-400))
	if r := p.get(t, "N1", "entry-from-foramen-medial", "frontal"); math.Abs(r.Value-(entry-640+half)*0.2) > 0.005 || r.Of != "foramen S3" {
		t.Errorf("entry-from-foramen-medial %g of %q, want %g", r.Value, r.Of, (entry-640+half)*0.2)
	}
	if d := p.get(t, "N1", "entry-fraction-superior", "frontal").Value; math.Abs(d-(row-360)/80) > 0.0005 {
		t.Errorf("entry-fraction-superior %g", d)
	}
	// The patient's right is at the right edge by all three sources.
	if r.Side != mark.RightSide || r.SideConfirmed || !strings.Contains(r.SideSource, "not confirmed") {
		t.Errorf("side %q, %q", r.Side, r.SideSource)
	}
	if r.Level != "S3" || r.LevelConfirmed {
		t.Errorf("level %q, %q", r.Level, r.LevelSource)
	}
	if m := p.because("N1", "tip-depth-along-needle"); m != "" {
		t.Errorf("missing although computed: %s", m)
	}
}

// The marking part of the budget against JCGM 101: 4,000 draws of every
// coordinate, each a whole computation anew.
func TestMarkingAgainstMonteCarlo(t *testing.T) {
	book := simple()
	// A bent margin and surface, so that the curves matter.
	for i := range book.Marks[:2] {
		for k := range book.Marks[i].Points {
			p := &book.Marks[i].Points[k]
			p.X += 40 * math.Cos((p.Y-450)/250)
		}
	}
	opt := Options{MarkingSD: imaging.Known(1)}
	p := compute(book, headers(), opt)
	var x, u []float64
	for _, m := range book.Marks {
		for _, v := range m.Points {
			x, u = append(x, v.X, v.Y), append(u, 1, 1)
		}
	}
	hs := headers()
	for _, c := range []struct{ quantity, plane string }{
		{"tip-depth-along-needle", "lateral"}, {"insertion-angle-chord", "lateral"}, {"insertion-angle-dorsal", "lateral"},
		{"insertion-angle-fusion", "lateral"}, {"entry-offset-midline", "frontal"}, {"tip-offset-midline", "frontal"},
		{"entry-from-foramen-medial", "frontal"}, {"entry-fraction-superior", "frontal"}, {"tip-caudal-to-si-line", "frontal"},
		{"tip-depth-along-needle", Plane3D}, {"entry-offset-midline", Plane3D}, {"tip-offset-midline", Plane3D},
		{"insertion-angle-chord", Plane3D}, {"insertion-angle-surface", Plane3D}, {"insertion-angle-ventral", Plane3D},
		{"entry-from-foramen-medial", Plane3D}, {"entry-from-foramen-superior", Plane3D},
	} {
		r := p.get(t, "N1", c.quantity, c.plane)
		s := quantity.MonteCarlo(x, u, 600, 11, func(x []float64) (float64, bool) {
			b := book.Clone()
			i := 0
			for k := range b.Marks {
				for v := range b.Marks[k].Points {
					b.Marks[k].Points[v] = r2.Vec{X: x[i], Y: x[i+1]}
					i += 2
				}
			}
			v, ok := estimate(b, hs, c.quantity, c.plane)
			return v, ok
		})
		// 600 draws give a standard deviation to 3 % (one standard error).
		if ratio := r.Budget[byMarking] / s.SD; math.Abs(ratio-1) > 0.10 || s.Failed > 0 {
			t.Errorf("%s: marking %.4f, scatter %.4f (%d failed)", c.quantity, r.Budget[byMarking], s.SD, s.Failed)
		}
		if r.Budget[byEdge] != 0 {
			t.Errorf("%s: a floor for a wrong edge although the marking is given", c.quantity)
		}
	}
}

// estimate computes one quantity's value without any budget.
func estimate(b mark.Book, hs []*imaging.Header, name, plane string) (float64, bool) {
	w := &work{book: b, bare: true, opt: Options{MarkingSD: imaging.Known(1)}}
	w.read(Films(hs, b))
	objects := w.objects()
	for _, o := range objects {
		w.lateralFilms(o)
	}
	for _, o := range objects {
		w.frontalFilms(o)
	}
	w.spaces(objects)
	for _, c := range w.values {
		if c.quantity == name && c.plane == plane {
			return c.value.Estimate, true
		}
	}
	return 0, false
}

// Without any spacing lengths are in pixels, what leans on a length is missing,
// and no word of the outcome names a millimetre.
func TestWithoutScale(t *testing.T) {
	hs := headers()
	for _, h := range hs {
		h.Base.ImagerSpacing = imaging.Spacing{}
	}
	p := compute(simple(), hs, Options{})
	r := p.get(t, "N1", "tip-depth-along-needle", "lateral")
	if r.Unit != "px" || math.Abs(r.Value-40*math.Sqrt2) > 1e-9 || r.Scale != "" {
		t.Errorf("depth %+v", r)
	}
	if a := p.get(t, "N1", "insertion-angle-dorsal", "lateral"); math.Abs(a.Value-45) > 1e-9 {
		t.Errorf("angle %g", a.Value)
	}
	for _, q := range []string{"insertion-angle-chord", "tip-depth-perpendicular"} {
		if p.because("N1", q) == "" {
			t.Errorf("%s is not missing", q)
		}
	}
	if strings.Contains(fmt.Sprintf("%+v", p.Results)+fmt.Sprint(p.Missing, p.Cautions), "mm") {
		t.Error("a millimetre is named without a scale")
	}
}

// Short of the margin the depth is negative and the axis is extended.
func TestShortOfMargin(t *testing.T) {
	b := simple()
	b.Marks[4].Points[1] = r2.Vec{X: 530, Y: 470}
	r := compute(b, headers(), Options{}).get(t, "N1", "tip-depth-along-needle", "lateral")
	if math.Abs(r.Value+30*math.Sqrt2*0.2) > 1e-9 || len(r.Notes) == 0 {
		t.Errorf("depth %g, notes %q", r.Value, r.Notes)
	}
}

// A bent shaft: its last 20 mm make the axis. Here the last 100 columns run
// level, so the exit lies at the tip's row.
func TestBentShaft(t *testing.T) {
	b := simple()
	b.Marks[4].Points = []r2.Vec{{X: 700, Y: 300}, {X: 590, Y: 480}, {X: 470, Y: 480}}
	r := compute(b, headers(), Options{}).get(t, "N1", "tip-depth-along-needle", "lateral")
	if math.Abs(r.Value-30*0.2) > 1e-9 {
		t.Errorf("depth %g, want 6", r.Value)
	}
}

// A lead with four contacts of 3 mm along the level row 480: the margin at
// column 500; centres 4, 10, 0.5 mm beyond and 6 mm short.
func TestContacts(t *testing.T) {
	b := simple()
	b.Marks = b.Marks[:4]
	lead := drawnMark(lateralUID, mark.Lead, "L1", 700, 480, 640, 480, 560, 480, 520, 480, 450, 480, 430, 480)
	b.Marks = append(b.Marks, lead)
	for i, x := range []float64{450, 480, 497.5, 530} {
		c := drawnMark(lateralUID, mark.Contact, "L1", x, 480)
		c.Index, c.Detail = i, "3"
		b.Marks = append(b.Marks, c)
	}
	p := compute(b, headers(), Options{})
	want := []struct {
		depth float64
		class string
	}{{10, "beyond"}, {4, "beyond"}, {0.5, "astride"}, {-6, "short"}}
	n := 0
	for _, r := range p.Results {
		if r.Quantity == "contact-depth" {
			w := want[r.Contact]
			if math.Abs(r.Value-w.depth) > 1e-6 || r.Class != w.class {
				t.Errorf("contact %d: %g %s, want %g %s", r.Contact, r.Value, r.Class, w.depth, w.class)
			}
			n++
		}
		if strings.HasPrefix(r.Quantity, "tip-depth") {
			t.Errorf("a lead has %s", r.Quantity)
		}
	}
	if n != 4 {
		t.Errorf("%d contact depths: %v", n, p.Missing)
	}
	if r := p.get(t, "L1", "contacts-beyond-margin", "lateral"); r.Value != 3 || r.HasU || r.Unit != "1" {
		t.Errorf("%+v", r)
	}
}

// Two needles that cross, and the change between two positions of one.
func TestTwoDevices(t *testing.T) {
	b := simple()
	b.Marks = append(b.Marks,
		drawnMark(lateralUID, mark.Needle, "N1.2", 700, 300, 440, 560),
		drawnMark(lateralUID, mark.Needle, "N2", 700, 420, 460, 420))
	p := compute(b, headers(), Options{})
	r := p.get(t, "N1.2", "depth-change", "lateral")
	if math.Abs(r.Value-20*math.Sqrt2*0.2) > 1e-9 || r.Of != "N1" {
		t.Errorf("depth-change %g of %q", r.Value, r.Of)
	}
	// Both depths hang on one margin: taking a wrong edge for it cancels.
	if r.Budget[byEdge] > 1e-9 {
		t.Errorf("the change carries %g for a wrong edge", r.Budget[byEdge])
	}
	c := p.get(t, "N1", "crossing", "lateral") // at (580, 420): 120 columns from the tip
	if math.Abs(c.Value-120*math.Sqrt2*0.2) > 1e-9 || c.Of != "N2" {
		t.Errorf("crossing %g of %q", c.Value, c.Of)
	}
	found := false
	for _, s := range p.Cautions {
		found = found || s == CautionIdentity
	}
	if !found {
		t.Errorf("cautions %q", p.Cautions)
	}
}

// Sources that disagree on the side: the numbers stay, the side is left out and
// the reason is told; a confirmation mends it.
func TestSideInConflict(t *testing.T) {
	hs := headers()
	hs[1].Base.PatientOrientation = [2]string{"L", "F"}
	p := compute(simple(), hs, Options{})
	r := p.get(t, "N1", "tip-depth-along-needle", "lateral")
	if r.Side != mark.NoSide || p.Devices[0].SideConflict == "" || math.Abs(r.Value-11.3137) > 1e-3 {
		t.Errorf("side %q, conflict %q, depth %g", r.Side, p.Devices[0].SideConflict, r.Value)
	}
	if !strings.Contains(strings.Join(p.Cautions, "\n"), "side left out") {
		t.Errorf("cautions %q", p.Cautions)
	}
	b := simple()
	b.Statements = append(b.Statements, mark.Statement{Observer: "Observer A", When: time.Unix(0, 0), Object: "N1", Side: mark.LeftSide, SideBasis: mark.TheatreRecord})
	p = compute(b, hs, Options{})
	if d := p.Devices[0]; d.Side != mark.LeftSide || !d.SideConfirmed || d.SideConflict != "" {
		t.Errorf("after confirming: %+v", d)
	}
}

// What is lacking is named with the mark that would mend it.
func TestMissing(t *testing.T) {
	b := simple()
	b.Marks = []mark.Mark{b.Marks[4], b.Marks[7]}
	p := compute(b, headers(), Options{})
	for q, word := range map[string]string{
		"tip-depth-along-needle": "ventral-margin", "insertion-angle-chord": "dorsal-margin",
		"insertion-angle-fusion": "fusion-line", "insertion-angle-skin": "skin-line",
		"entry-offset-midline": "midline", "tip-caudal-to-si-line": "midline",
	} {
		if m := p.because("N1", q); !strings.Contains(m, word) {
			t.Errorf("%s: %q", q, m)
		}
	}
	b = simple()
	b.Marks[0].Points = b.Marks[0].Points[:4]
	if m := compute(b, headers(), Options{}).because("N1", "tip-depth-along-needle"); !strings.Contains(m, "at least 5") {
		t.Errorf("four points: %q", m)
	}
	b = simple()
	b.Marks[0].Points = b.Marks[0].Points[:5] // the upper half of the margin
	b.Marks[0].Points[4].Y = 450
	if m := compute(b, headers(), Options{}).because("N1", "tip-depth-along-needle"); !strings.Contains(m, "extend ventral-margin") {
		t.Errorf("margin too short: %q", m)
	}
}

func BenchmarkCompute(b *testing.B) {
	book, hs := simple(), headers()
	for b.Loop() {
		compute(book, hs, Options{})
	}
}

// A film that its own header knows to be turned: a needle 20 mm off the midline
// moves by 20 mm x tan 10 degrees = 3.5 mm in depth (by hand), which the
// interval must hold, and the caution is said.
func TestTurnedFilm(t *testing.T) {
	hs := headers()
	plain := compute(simple(), hs, Options{}).get(t, "N1", "tip-depth-perpendicular", "lateral")
	hs[0].Base.PrimaryAngle = imaging.Known(80)
	p := compute(simple(), hs, Options{})
	turned := p.get(t, "N1", "tip-depth-perpendicular", "lateral")
	if turned.Value != plain.Value {
		t.Errorf("single-plane value corrected: %g, %g", plain.Value, turned.Value)
	}
	if turned.U95 < 3.5 || turned.Budget[byRotation] < 2*plain.Budget[byRotation] {
		t.Errorf("u95 %g, rotation %g; true film %g", turned.U95, turned.Budget[byRotation], plain.Budget[byRotation])
	}
	said := func(p Placement) (n int) {
		for _, c := range p.Cautions {
			if c == CautionRotated {
				n++
			}
		}
		return n
	}
	if said(p) != 1 || said(compute(simple(), headers(), Options{})) != 0 {
		t.Errorf("cautions %q", p.Cautions)
	}
}
