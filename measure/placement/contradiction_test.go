package placement

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

// twoNeedles has N1 right of the midline of the film (the patient's right, seen
// from behind) and N2 left of it.
func twoNeedles() mark.Book {
	b := simple()
	b.Marks = append(b.Marks,
		drawnMark(lateralUID, mark.Needle, "N2", 700, 310, 470, 540),
		drawnMark(frontalUID, mark.Needle, "N2", 384, 300, 404, 540))
	return b
}

func side(object string, s mark.Side, basis mark.Basis) mark.Statement {
	return mark.Statement{Observer: "Observer A", Object: object, Side: s, SideBasis: basis}
}

func (p Placement) device(name string) Device {
	for _, d := range p.Devices {
		if d.Object == name {
			return d
		}
	}
	return Device{}
}

func (p Placement) says(text string) bool {
	return strings.Contains(strings.Join(p.Cautions, "\n"), text)
}

// Devices on different sides of one midline cannot be on one side of the
// patient: a side that only the film tells does not survive another's confirmed
// side that contradicts the film.
func TestSidesHoldTogether(t *testing.T) {
	b := twoNeedles()
	p := compute(b, headers(), Options{})
	if p.device("N1").Side != mark.RightSide || p.device("N2").Side != mark.LeftSide {
		t.Fatalf("devices %+v", p.Devices)
	}
	b.Statements = []mark.Statement{side("N1", mark.LeftSide, mark.TheatreRecord)}
	p = compute(b, headers(), Options{})
	if d := p.device("N1"); d.Side != mark.LeftSide || !d.SideConfirmed || !p.says("N1: side confirmed against another source") {
		t.Errorf("N1 %+v, cautions %q", d, p.Cautions)
	}
	if d := p.device("N2"); d.Side != mark.NoSide || d.SideConflict == "" || p.SideConflict() == nil {
		t.Errorf("N2 keeps a side from a film that was contradicted: %+v", d)
	}
	// Confirmed on the right as well, the two fit the film's two halves.
	b.Statements = append(b.Statements, side("N2", mark.RightSide, mark.TheatreRecord))
	if p = compute(b, headers(), Options{}); p.SideConflict() != nil {
		t.Errorf("both confirmed: %v", p.SideConflict())
	}
	// Confirmed both on the left, they do not: neither is named.
	b.Statements[1].Side = mark.LeftSide
	p = compute(b, headers(), Options{})
	for _, n := range []string{"N1", "N2"} {
		if d := p.device(n); d.Side != mark.NoSide || d.SideConflict == "" {
			t.Errorf("%s named %q although both lie left on different sides of a midline", n, d.Side)
		}
	}
}

// What there is one of is not measured when it is marked twice.
func TestMarkedTwice(t *testing.T) {
	b := simple()
	b.Marks = append(b.Marks, column(lateralUID, mark.VentralMargin, 520, 9))
	p := compute(b, headers(), Options{})
	if why := p.because("N1", "tip-depth-along-needle"); !strings.Contains(why, "marked twice") || !p.says("ventral-margin is marked twice") {
		t.Errorf("because %q, cautions %q", why, p.Cautions)
	}
	b = simple()
	b.Marks = append(b.Marks, drawnMark(lateralUID, mark.Needle, "N1", 700, 320, 460, 560))
	p = compute(b, headers(), Options{})
	if why := p.because("N1", "tip-depth-along-needle"); !strings.Contains(why, "marked twice") {
		t.Errorf("because %q", why)
	}
}

// Seven clicks along a straight shaft, each a pixel or so off, make an axis
// without a scale; a shaft bent by thirty pixels does not.
func TestClickedShaftWithoutScale(t *testing.T) {
	hs := headers()
	for _, h := range hs {
		h.Base.ImagerSpacing = imaging.Spacing{}
	}
	b := simple()
	off := []float64{0.8, -1.1, 0.6, -0.4, 1.2, -0.9, 0.5}
	b.Marks[4].Points = nil
	for i, o := range off {
		f := float64(i) / 6
		b.Marks[4].Points = append(b.Marks[4].Points, r2.Vec{X: 700 - 240*f + o, Y: 300 + 240*f + o})
	}
	if r := compute(b, hs, Options{}).get(t, "N1", "tip-depth-along-needle", "lateral"); r.Unit != "px" {
		t.Errorf("unit %s", r.Unit)
	}
	b.Marks[4].Points[3].X += 30
	if why := compute(b, hs, Options{}).because("N1", "tip-depth-along-needle"); !strings.Contains(why, "known length") {
		t.Errorf("because %q", why)
	}
}

// The tips of two needles taken for each other on one film lie at other
// heights: it is told. Needles as they are give no such caution.
func TestHeightsOfTips(t *testing.T) {
	b := twoNeedles()
	// The tips at one height on both films, near the centre where no beam slopes.
	for i, y := range map[int]float64{4: 540, 7: 540, 9: 500, 10: 500} {
		m := &b.Marks[i]
		m.Points[1].Y = y
	}
	const word = "the heights of its tip on the two films differ"
	if p := compute(b, headers(), Options{}); p.says(word) {
		t.Errorf("cautions %q", p.Cautions)
	}
	b.Marks[4].Object, b.Marks[9].Object = "N2", "N1" // swapped on the lateral film
	if p := compute(b, headers(), Options{}); !p.says("N1: "+word) || !p.says("N2: "+word) {
		t.Errorf("swapped: cautions %q", p.Cautions)
	}
}

// A needle marked from tip to hub, and margins taken for each other, put the
// ventral margin before the dorsal one: nothing is measured, and why is told.
func TestMarkedBackwards(t *testing.T) {
	b := simple()
	p := b.Marks[4].Points
	p[0], p[1] = p[1], p[0]
	out := compute(b, headers(), Options{})
	for _, q := range []string{"tip-depth-along-needle", "insertion-angle-chord", "insertion-angle-dorsal"} {
		if why := out.because("N1", q); !strings.Contains(why, "from skin to tip") {
			t.Errorf("backwards, %s: %q", q, why)
		}
	}
	b = simple()
	b.Marks[0].Structure, b.Marks[1].Structure = mark.DorsalMargin, mark.VentralMargin
	if why := compute(b, headers(), Options{}).because("N1", "insertion-angle-chord"); !strings.Contains(why, "exchange the two margins") {
		t.Errorf("margins exchanged: %q", why)
	}
	b = simple()
	b.Marks[4].Points = []r2.Vec{{X: 700, Y: 300}, {X: 500, Y: 500}, {X: 580, Y: 420}, {X: 460, Y: 540}}
	if why := compute(b, headers(), Options{}).because("N1", "tip-depth-along-needle"); !strings.Contains(why, "back and forth") {
		t.Errorf("shuffled: %q", why)
	}
	b = simple()
	p = b.Marks[7].Points // frontal
	p[0], p[1] = p[1], p[0]
	if out := compute(b, headers(), Options{}); !out.says("runs towards the head on one film") {
		t.Errorf("frontal backwards: %q", out.Cautions)
	}
}

// Openings: a side stated of the opening, two that overlap, one that is unsure.
func TestOpeningsEntered(t *testing.T) {
	b := simple()
	b.Marks[8].Side = mark.LeftSide
	if d := compute(b, headers(), Options{}).device("N1"); d.Side != mark.NoSide || !strings.Contains(d.SideConflict, "opening marked left") {
		t.Errorf("other side: %+v", d)
	}
	b = simple()
	again := b.Marks[8].Clone()
	again.Level, again.UID = "S4", "2.25.999"
	b.Marks = append(b.Marks, again)
	if d := compute(b, headers(), Options{}).device("N1"); d.Level != "" || d.LevelConflict == "" {
		t.Errorf("overlapping: %+v", d)
	}
	b = simple()
	b.Statements = []mark.Statement{{Observer: "Observer A", LevelBasis: mark.CountedAbove}}
	if d := compute(b, headers(), Options{}).device("N1"); d.Level != "S3" || !d.LevelConfirmed {
		t.Errorf("counted: %+v", d)
	}
	b.Marks[8].Detail = "unsure"
	if d := compute(b, headers(), Options{}).device("N1"); d.LevelConfirmed || !strings.Contains(d.LevelSource, "unsure") {
		t.Errorf("unsure opening: %+v", d)
	}
	b.Marks[8].Detail = "ventral"
	if d := compute(b, headers(), Options{}).device("N1"); d.Level != "" {
		t.Errorf("a ventral opening gives level %s", d.Level)
	}
	b = simple()
	for i := range b.Marks[8].Points { // an opening the entry does not lie in
		b.Marks[8].Points[i].Y += 200
	}
	if d := compute(b, headers(), Options{}).device("N1"); d.Level != "" || !strings.Contains(d.LevelSource, "no marked dorsal opening") {
		t.Errorf("outside: %+v", d)
	}
	b = simple()
	b.Statements = []mark.Statement{side("N1", mark.MiddleSide, mark.TheatreRecord)}
	if d := compute(b, headers(), Options{}).device("N1"); d.Side != mark.NoSide || d.SideConflict == "" {
		t.Errorf("midline, 24 mm off it: %+v", d)
	}
}

// Contacts numbered from the hub, and one marked off its lead.
func TestContactsContradict(t *testing.T) {
	lead := func(x ...float64) mark.Book {
		b := simple()
		b.Marks = append(b.Marks[:4], drawnMark(lateralUID, mark.Lead, "L1", 700, 480, 640, 480, 560, 480, 520, 480, 450, 480, 430, 480))
		for i, x := range x {
			c := drawnMark(lateralUID, mark.Contact, "L1", x, 480)
			c.Index, c.Detail = i, "3"
			b.Marks = append(b.Marks, c)
		}
		return b
	}
	if why := compute(lead(530, 480, 450), headers(), Options{}).because("L1", "contact-depth"); !strings.Contains(why, "from the tip") {
		t.Errorf("numbered from the hub: %q", why)
	}
	b := lead(450, 480)
	b.Marks[len(b.Marks)-1].Points[0].Y = 700
	if why := compute(b, headers(), Options{}).because("L1", "contact-depth"); !strings.Contains(why, "off its lead") {
		t.Errorf("off the lead: %q", why)
	}
}

// The budget's priors against figures worked out apart: a needle 20 mm off the
// midline and 30 mm off the beam's axis reads 20 x 30 / 750 = 0.8 mm off at 750
// mm from the source, and 5 degrees of roll move one 18.6 mm off the midline by
// 18.6 x sin 5 = 1.6 mm. Here the source is 800 mm away, the margin runs along
// the rows' normal and the tip is taken square to it.
func TestPriorsInMillimetres(t *testing.T) {
	b := simple()
	b.Marks[4].Points = []r2.Vec{{X: 760, Y: 512}, {X: 362, Y: 512}} // level: tip 150 columns, 30 mm, off the axis
	r := compute(b, headers(), Options{MarkingSD: imaging.Known(0.01)}).get(t, "N1", "tip-depth-along-needle", "lateral")
	// A needle that leans out of the plane by a slope s, up to 0.35 either way,
	// is longer than it looks by s²/2 of the 27.6 mm beyond the margin: the
	// root mean square of s² is 0.35² / sqrt 5.
	off := 20 * 30 / 800.0 * OffMidlineHalf / 20 / 1.7320508
	lean := 27.6 * 0.35 * 0.35 / 2 / 2.2360680
	if got, want := r.Budget[byOutOfPlane], math.Hypot(off, lean); got < 0.95*want || got > 1.05*want {
		t.Errorf("out of plane: %.3f mm, want %.3f", got, want)
	}
	if OffMidlineHalf < 25 || OffMidlineHalf > 35 { // 23 +/- 2 mm to S3 and as much again for the spread
		t.Errorf("off the midline by %g mm", OffMidlineHalf)
	}
	// The product of two rectangular priors, 30 mm and 5 degrees: 0.873 mm.
	if got := r.Budget[byRotation]; got < 0.84 || got > 0.95 {
		t.Errorf("rotation %.3f mm, want 0.873 and a little for foreshortening and lean", got)
	}
	if r.U95 < 1.6 {
		t.Errorf("u95 %.2f mm does not hold 5 degrees of roll, 1.6 mm", r.U95)
	}
	// 2 % of 30 mm from the margin (column 500, 138 columns = 27.6 mm), rectangular.
	if got, want := r.Budget[byScale], 27.6*0.02/1.7320508; got < 0.98*want || got > 1.02*want {
		t.Errorf("scale %.4f mm, want %.4f", got, want)
	}
	if got, want := r.Budget[byPlaneOffset], 27.6*35/1.7320508/800; got < 0.98*want || got > 1.02*want {
		t.Errorf("plane offset %.4f mm, want %.4f", got, want)
	}
	plain := compute(b, headers(), Options{}).get(t, "N1", "tip-depth-along-needle", "lateral")
	if got := plain.Budget[byEdge]; got < 0.499 || got > 0.501 { // half a millimetre, the axis square to the margin
		t.Errorf("edge %.4f mm, want 0.5", got)
	}
}
