package placement

import (
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
