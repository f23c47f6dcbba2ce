package board

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// laid is a desk with a frontal and a lateral film and one needle, whose
// placement is given.
func laid(t *testing.T, p placement.Placement) *desk.Desk {
	t.Helper()
	var headers []*imaging.Header
	for uid, primary := range map[string]float64{"1.1": 180, "1.2": 90} {
		h := &imaging.Header{File: uid + ".dcm", SOPInstance: uid, Columns: 1024, Rows: 1024, Frames: 1}
		h.Base = imaging.Geometry{Kind: imaging.KindXA, Columns: 1024, Rows: 1024, PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(0),
			ImagerSpacing: imaging.Spacing{Row: 0.3, Column: 0.3, Known: true}, SourceToDetector: imaging.Known(1100), SourceToPatient: imaging.Known(750)}
		headers = append(headers, h)
	}
	book := mark.Book{Observer: "reader", Marks: []mark.Mark{
		{UID: "2.1", Frame: mark.One("1.2", 1), Structure: mark.Needle, Object: "N1", Points: []r2.Vec{{X: 800, Y: 400}, {X: 450, Y: 600}}},
	}}
	d := desk.New(desk.Config{
		Name: "a case with a rather long name, as folders have", Headers: headers, Book: book, Acknowledged: true,
		Films: func(b mark.Book) []placement.Film { return placement.Films(headers, b) },
		Measure: func(films []placement.Film, b mark.Book) placement.Placement {
			out := p
			out.Films = placement.Compute(films, b, placement.Options{}).Films
			return out
		},
	})
	t.Cleanup(d.Stop)
	return d
}

var one = placement.Placement{
	Devices: []placement.Device{{Object: "N1", Kind: mark.Needle, Side: mark.RightSide, SideSource: "Patient Orientation: from header, not confirmed",
		Level: "S3", LevelSource: "sacroiliac line only"}},
	Results: []placement.Result{
		{Object: "N1", Quantity: "tip-depth-along-needle", Plane: "lateral", Value: 11, Unit: "mm", HasU: true, U95: 2, Lo: 9, Hi: 13, Contact: -1},
		{Object: "N1", Quantity: "insertion-angle-chord", Plane: "lateral", Value: 72, Unit: "deg", HasU: true, U95: 3, Lo: 69, Hi: 75, Contact: -1},
	},
	Cautions: []string{"Side from header, not confirmed.", "Level rests on the sacroiliac line alone."},
}

func parts(d *desk.Desk, w, h int, unit float64) ([]Part, Places) {
	scenes := [2]*scene.Scene{Scene(d, desk.FrontalPane), Scene(d, desk.LateralPane)}
	chart := Chart(d, scenes[desk.LateralPane])
	at := Lay(w, h, unit, len(chart.Rows), d.HasRun())
	return Parts(d, at, scenes, chart), at
}

func said(parts []Part) string {
	var b strings.Builder
	for _, p := range parts {
		for _, l := range p.Drawing.Layers {
			for _, t := range l.Texts {
				b.WriteString(t.Words + "\n")
			}
		}
	}
	return b.String()
}

func TestPlacesFillTheScreenAndDoNotOverlap(t *testing.T) {
	for _, s := range []struct {
		w, h int
		unit float64
	}{{960, 600, 1}, {1280, 800, 1}, {1920, 1080, 1}, {2560, 1600, 2}, {1440, 2000, 1.25}} {
		for rows := range 7 {
			at := Lay(s.w, s.h, s.unit, rows, false)
			all := []scene.Rect{at.Case, at.Head[0], at.Head[1], at.Film[0], at.Film[1], at.Sheet, at.Chart, at.Foot}
			for i, a := range all {
				if !at.Whole.Holds(a) {
					t.Errorf("%v, %d rows: place %d, %v, leaves the screen", s, rows, i, a)
				}
				for j := range i {
					if a.Overlaps(all[j]) {
						t.Errorf("%v, %d rows: places %d and %d overlap", s, rows, i, j)
					}
				}
			}
			if at.Film[0].H() < 0.35*float64(s.h) {
				t.Errorf("%v, %d rows: the films are only %v high", s, rows, at.Film[0].H())
			}
		}
	}
}

func TestWordsStayInTheirPart(t *testing.T) {
	d := laid(t, one)
	for _, s := range [][2]int{{960, 600}, {1280, 800}, {1920, 1080}} {
		all, at := parts(d, s[0], s[1], 1)
		for _, p := range all {
			for _, l := range p.Drawing.Layers {
				for _, text := range l.Texts {
					if b := text.Box(); b.Min.X < p.Place.Min.X-0.5 || b.Max.X > p.Place.Max.X+0.5 || b.Max.Y > p.Place.Max.Y+4 {
						t.Errorf("%v: %q of %s leaves its place", s, text.Words, p.Name)
					}
				}
			}
			for _, h := range p.Hits {
				if !p.Place.Holds(h.Place) {
					t.Errorf("%v: a hit of %s lies outside it", s, p.Name)
				}
			}
		}
		d.Press("?")
		if o := Overlay(d, at, scenesOf(d)); o == nil || !at.Whole.Holds(o.Place) {
			t.Errorf("%v: the list of keys does not fit", s)
		}
		d.Press("Escape")
	}
}

func TestSideLevelBasisAndCautionAreAlwaysOnScreen(t *testing.T) {
	d := laid(t, one)
	all, _ := parts(d, 1280, 800, 1)
	words := said(all)
	for _, want := range []string{"RIGHT · S3", "side: Patient Orientation: from header, not confirmed", "level: sacroiliac line only, not confirmed",
		"11 ± 2 mm", "beyond the ventral margin", scene.CautionReview, "Side from header, not confirmed."} {
		if !strings.Contains(words, want) {
			t.Errorf("nowhere on the screen: %q", want)
		}
	}
}

func TestSideInConflictIsNamedNowhere(t *testing.T) {
	p := one
	p.Devices = []placement.Device{p.Devices[0]}
	p.Devices[0].SideConflict = "the header and the lead marker disagree"
	p.Cautions = nil
	d := laid(t, p)
	all, _ := parts(d, 1280, 800, 1)
	words := said(all)
	if strings.Contains(words, "RIGHT") || strings.Contains(words, "LEFT") {
		t.Errorf("a side in conflict is named:\n%s", words)
	}
	if !strings.Contains(words, "SIDE WITHHELD") || !strings.Contains(words, "disagree") {
		t.Error("that the side is withheld, and why, is not said")
	}
}

func TestEveryHitIsAKeyTheDeskKnows(t *testing.T) {
	d := laid(t, one)
	all, _ := parts(d, 1280, 800, 1)
	n := 0
	for _, p := range all {
		for _, h := range p.Hits {
			n++
			if !d.Press(h.Key) {
				t.Errorf("a click in %s presses %q, which does nothing", p.Name, h.Key)
			}
			for {
				if _, full := d.Full(); d.Question() == nil && d.Draft() == nil && !full {
					break
				}
				d.Press("Escape")
			}
		}
	}
	if n < 8 {
		t.Fatalf("only %d places answer a click", n)
	}
}

// The isocentre is seen in the middle of both films, and a point above it in
// one lies, in the other, on a line that by the pinhole's geometry stands at
// the same height where both views are at right angles to the patient's axis
// and the point lies in the plane through the isocentre.
func TestLevelLineJoinsTheViews(t *testing.T) {
	d := laid(t, one)
	d.SetFocus(desk.LateralPane)
	d.Press("p")
	at := r2.Vec{X: 512, Y: 300}
	d.AddPoint(desk.LateralPane, at)
	d.Select(desk.Selection{Mark: d.Marks(mark.One("1.2", 1))[1].UID, Vertex: 0})
	l, ok := Level(d)
	if !ok || !l.Exact {
		t.Fatalf("no level line by geometry: %v %+v", ok, l)
	}
	// The point's ray runs through the plane of the isocentre at the height it
	// is seen at, and there the frontal film sees it at the same height.
	a, b := l.Lines[desk.FrontalPane][0], l.Lines[desk.FrontalPane][1]
	if y := a.Y + (b.Y-a.Y)*(512-a.X)/(b.X-a.X); math.Abs(y-300) > 1e-6 {
		t.Errorf("in the middle of the frontal film the line stands at %v, want 300", y)
	}
	c, e := l.Lines[desk.LateralPane][0], l.Lines[desk.LateralPane][1]
	if off := segment(at, c, e); off > 1e-6 {
		t.Errorf("on its own film the line misses the point by %v px", off)
	}
}

func segment(p, a, b r2.Vec) float64 {
	d := r2.Sub(b, a)
	return math.Abs(r2.Cross(d, r2.Sub(p, a))) / r2.Norm(d)
}

func TestLevelLineIsBrokenAtWords(t *testing.T) {
	got := broken(r2.Vec{X: 0, Y: 5}, r2.Vec{X: 100, Y: 5}, []scene.Rect{scene.Box(20, 0, 10, 10), scene.Box(25, 0, 15, 10), scene.Box(60, 20, 10, 10), scene.Box(90, 0, 30, 10)})
	want := [][2]float64{{0, 20}, {40, 90}}
	if len(got) != len(want) {
		t.Fatalf("pieces %v", got)
	}
	for i, w := range want {
		if math.Abs(got[i][0].X-w[0]) > 1e-9 || math.Abs(got[i][1].X-w[1]) > 1e-9 {
			t.Errorf("piece %d is %v, want %v", i, got[i], w)
		}
	}
}

// Warn must read as small words: contrast at least 4.5:1 on every ground (WCAG
// 2.1, success criterion 1.4.3; relative luminance as defined there).
func TestCautionsCanBeRead(t *testing.T) {
	luminance := func(r, g, b uint8) float64 {
		lin := func(v uint8) float64 {
			s := float64(v) / 255
			if s <= 0.03928 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b)
	}
	l := luminance(Warn.R, Warn.G, Warn.B)
	grey := luminance(scene.Grey.R, scene.Grey.G, scene.Grey.B)
	for _, g := range [][3]uint8{{scene.Panel.R, scene.Panel.G, scene.Panel.B}, {scene.Ground.R, scene.Ground.G, scene.Ground.B}, {card.R, card.G, card.B}} {
		under := luminance(g[0], g[1], g[2])
		for name, over := range map[string]float64{"a caution": l, "secondary words": grey} {
			if c := (over + 0.05) / (under + 0.05); c < 4.5 {
				t.Errorf("%s on %v has a contrast of %.2f", name, g, c)
			}
		}
	}
}

func scenesOf(d *desk.Desk) [2]*scene.Scene {
	return [2]*scene.Scene{Scene(d, desk.FrontalPane), Scene(d, desk.LateralPane)}
}
