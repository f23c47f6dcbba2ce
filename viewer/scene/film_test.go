package scene_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
	"leadline/viewer/internal/specimen"
	"leadline/viewer/scene"
)

func words(d scene.Drawing) []string {
	var out []string
	for _, l := range d.Layers {
		for _, t := range l.Texts {
			out = append(out, t.Words)
		}
	}
	return out
}

func pageWords(s *scene.Scene) []string {
	p := scene.NewPage(s, 1400)
	return append(words(p.Under), words(p.Over)...)
}

func has(all []string, want string) bool {
	return strings.Contains(strings.Join(all, "\n"), want)
}

func TestPagesSayWhatTheyMust(t *testing.T) {
	p := specimen.Placement()
	for i, want := range [][]string{
		{"Frontal", "seen from behind, C-arm 180°", "LEFT · S3", "RIGHT · S3", "side: from header, not confirmed", "level: sacroiliac line only, not confirmed",
			"side: lead marker in the field, observer A", "N1 left", "N2 right", "L", "R", "cranial", "midline", "sacroiliac line", "S3 right dorsal opening",
			"34 ± 2 mm", "entry", scene.CautionReview, scene.CautionDepth, "50 mm at the field's centre, Imager Pixel Spacing and the two distances, ± 3 %"},
		{"Lateral", "seen from the left, C-arm +90°", "LEFT · S3", "ventral", "dorsal", "ventral margin", "dorsal surface", "S2/S3 fusion line", "promontory",
			"5 ± 2 mm", "17 ± 3 mm", "beyond the ventral margin", "68 ± 4°", "missing", "mark the skin line on the lateral film",
			"Needle identity on the lateral film is not proven.", "beyond", "short"},
	} {
		s := scene.Film(p.Films[i], specimen.Marks(), p, scene.Options{Vertex: -1})
		got := pageWords(&s)
		for _, w := range want {
			if !has(got, w) {
				t.Errorf("%s: %q is not said", p.Films[i].View, w)
			}
		}
	}
	s := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Vertex: -1})
	for _, w := range pageWords(&s) {
		if w == "N1 left" || w == "N2 right" || w == "L" || w == "R" {
			t.Errorf("the lateral film says %q, where both sides overlap", w)
		}
	}
}

func TestNoMillimetreWithoutScale(t *testing.T) {
	p := specimen.Placement()
	marks := append(specimen.Marks(), mark.Mark{UID: "9", Frame: mark.One("1.2.2", 1), Structure: mark.KnownLength, Detail: "30",
		Points: []r2.Vec{{X: 600, Y: 800}, {X: 700, Y: 850}}})
	for i := range p.Films {
		p.Films[i].Scale = scale.Scale{Row: 1, Column: 1, Because: "no spacing in the header and no known length marked"}
	}
	for i := range p.Results {
		if p.Results[i].Unit == "mm" {
			p.Results[i].Unit = "px"
		}
	}
	unit := regexp.MustCompile(`\bmm\b`)
	for _, f := range p.Films {
		s := scene.Film(f, marks, p, scene.Options{Vertex: -1})
		got := pageWords(&s)
		for _, w := range got {
			if unit.MatchString(w) {
				t.Errorf("%s: %q names millimetres", f.View, w)
			}
		}
		if !has(got, "No scale: no spacing in the header and no known length marked") {
			t.Errorf("%s: the reason is not given", f.View)
		}
		if _, px := s.Bar.BarLength(scene.NewView(f, scene.Box(0, 0, 500, 500), 1)); px != 0 {
			t.Errorf("%s: a bar is drawn", f.View)
		}
	}
}

func TestDisputedSideIsNotNamed(t *testing.T) {
	p := specimen.Placement()
	for i := range p.Devices {
		p.Devices[i].SideConflict = "Patient Orientation and the positioner's angles disagree"
	}
	p.Films[0].LeftConflict = "Patient Orientation and the positioner's angles disagree"
	side := regexp.MustCompile(`^(L|R)$|(?i)\b(left|right|seen from)\b`)
	for _, f := range p.Films {
		s := scene.Film(f, specimen.Marks(), p, scene.Options{Vertex: -1})
		for _, w := range pageWords(&s) {
			if side.MatchString(w) && !strings.Contains(w, "withheld") {
				t.Errorf("%s: %q names a side", f.View, w)
			}
		}
		if !has(pageWords(&s), "SIDE WITHHELD · S3") {
			t.Errorf("%s: that the side is withheld is not said", f.View)
		}
	}
}

func TestUnknownIsSaidNotGuessed(t *testing.T) {
	p := specimen.Placement()
	p.Devices = []placement.Device{{Object: "N1", Kind: mark.Needle}}
	f := p.Films[0]
	f.PatientLeft, f.Cranial, f.View = imaging.NoEdge, imaging.NoEdge, imaging.NoView
	f.Film.Geometry.PatientOrientation = [2]string{}
	s := scene.Film(f, specimen.Marks(), p, scene.Options{Vertex: -1})
	got := pageWords(&s)
	for _, w := range []string{"View not known", "cranial direction not known", "SIDE NOT KNOWN · LEVEL NOT KNOWN", "side: not known", "level: not known"} {
		if !has(got, w) {
			t.Errorf("%q is not said", w)
		}
	}
}

// A file's name may be the patient's.
func TestNoFileIsNamed(t *testing.T) {
	p := specimen.Placement()
	p.Films[0].Film.File, p.Films[1].Film.File = "doe_jane_1.dcm", "2"
	p.Films[1].LeftConflict = "doe_jane_1.dcm and 2 disagree"
	p.Cautions = append(p.Cautions, "doe_jane_1.dcm: lengths are at the detector plane: magnified, not anatomy.", "2: lengths may be magnified.")
	p.Missing = append(p.Missing, placement.Missing{Object: "N1", Quantity: "insertion-angle-dorsal",
		Because: "the view of doe_jane_1.dcm is oblique: confirm it as lateral if it is"})
	p.Devices[0].SideConflict = "left by doe_jane_1.dcm, right by what was stated"
	for _, f := range p.Films {
		s := scene.Film(f, specimen.Marks(), p, scene.Options{Vertex: -1})
		got := pageWords(&s)
		if has(got, "doe") || has(got, "2: lengths") {
			t.Errorf("%s: a file is named in %q", f.View, got)
		}
		if !has(got, "Lateral film: lengths may be magnified.") {
			t.Errorf("%s: the caution is lost", f.View)
		}
	}
}

// Labels stay inside the pane and off each other at every size and turn, in a
// case with more marks than usual.
func TestLabelsKeepClear(t *testing.T) {
	p := specimen.Placement()
	marks := specimen.Marks()
	for n := 3; n <= 7; n++ { // five more needles close together
		for _, film := range []string{"1.2.1", "1.2.2"} {
			y := 330 + 22*float64(n)
			marks = append(marks, mark.Mark{UID: fmt.Sprint(film, n), Frame: mark.One(film, 1), Structure: mark.Needle, Object: fmt.Sprintf("N%d", n),
				Points: []r2.Vec{{X: 930, Y: y}, {X: 460, Y: y + 170}}})
		}
		r := p.Results[0]
		r.Object, r.Value = fmt.Sprintf("N%d", n), float64(n)
		p.Results = append(p.Results, r)
		p.Devices = append(p.Devices, placement.Device{Object: r.Object, Kind: mark.Needle, Side: mark.LeftSide, SideSource: "stated", Level: "S4", LevelSource: "stated"})
	}
	for _, f := range p.Films {
		around := []imaging.Edge{imaging.Top, imaging.Right, imaging.Bottom, imaging.Left}
		for turn, cranial := range around {
			for _, width := range []float64{380, 560, 1000} {
				f.Cranial, f.PatientLeft = cranial, around[(turn+3)%4]
				s := scene.Film(f, marks, p, scene.Options{Vertex: -1})
				v := scene.NewView(f, scene.Box(30, 40, width, width*0.8), 1)
				d := s.Draw(v)
				var texts []scene.Text
				for _, l := range d.Layers {
					texts = append(texts, l.Texts...)
				}
				for i, a := range texts {
					if !v.Pane.Holds(a.Box()) {
						t.Errorf("%s, cranial %s, width %g: %q at %v leaves the pane", f.View, cranial, width, a.Words, a.Box())
					}
					for _, b := range texts[i+1:] {
						if a.Box().Inset(0.5).Overlaps(b.Box().Inset(0.5)) {
							t.Errorf("%s, cranial %s, width %g: %q lies on %q", f.View, cranial, width, a.Words, b.Words)
						}
					}
				}
				for n := 1; n <= 7; n++ { // a device is never without its name
					if name := fmt.Sprintf("N%d", n); width > 400 && !has(words(d), name) {
						t.Errorf("%s, cranial %s, width %g: %s is not named", f.View, cranial, width, name)
					}
				}
			}
		}
	}
}

func TestPageWordsKeepClear(t *testing.T) {
	p := specimen.Placement()
	for _, f := range p.Films {
		s := scene.Film(f, specimen.Marks(), p, scene.Options{Vertex: -1})
		for _, width := range []int{700, 1400, 2800} {
			page := scene.NewPage(&s, width)
			whole := scene.Box(0, 0, float64(page.W), float64(page.H))
			var texts []scene.Text
			for _, l := range append(page.Under.Layers, page.Over.Layers...) {
				texts = append(texts, l.Texts...)
			}
			for i, a := range texts {
				if !whole.Holds(a.Box()) {
					t.Errorf("%s at %d: %q leaves the page", f.View, width, a.Words)
				}
				for _, b := range texts[i+1:] {
					if a.Box().Inset(1.5).Overlaps(b.Box().Inset(1.5)) {
						t.Errorf("%s at %d: %q lies on %q", f.View, width, a.Words, b.Words)
					}
				}
			}
		}
	}
}

func TestSelectedMarkIsWiderAndShowsItsVertices(t *testing.T) {
	p := specimen.Placement()
	plain := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Vertex: -1})
	picked := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Selected: "2.3", Vertex: 1})
	width := func(s scene.Scene) float64 {
		for _, path := range s.Paths {
			if path.Key == "2.3" {
				return path.Stroke.Width
			}
		}
		return 0
	}
	if a, b := width(plain), width(picked); b < a+1 {
		t.Errorf("stroke %g becomes %g", a, b)
	}
	handles := 0
	for _, m := range picked.Symbols {
		if m.Shape == scene.Handle && m.Key == "2.3" {
			handles++
		}
	}
	if handles != 3 {
		t.Errorf("%d handles on a mark of three vertices", handles)
	}
}

// A pane may be folded away, a film far off or without a size: that draws little
// and stops nothing.
func TestOddViewsDraw(t *testing.T) {
	p := specimen.Placement()
	for _, f := range append(p.Films, placement.FilmReading{}) {
		s := scene.Film(f, specimen.Marks(), p, scene.Options{Vertex: -1})
		for _, pane := range []scene.Rect{{}, scene.Box(0, 0, -50, 20), scene.Box(0, 0, 3, 3), scene.Box(0, 0, 400, 300)} {
			for _, zoom := range []float64{0, 1e-9, 1, 1e6} {
				v := scene.NewView(f, pane, 1)
				if zoom != 1 {
					v.Zoom = zoom
				}
				for _, l := range s.Draw(v).Layers {
					if len(l.Lines) > 2000 {
						t.Errorf("%d lines in pane %v at zoom %g", len(l.Lines), pane, zoom)
					}
				}
			}
		}
		scene.NewPage(&s, 900)
	}
	empty := scene.NewChart(placement.Placement{}, imaging.NoEdge)
	empty.Draw(scene.Box(0, 0, 300, empty.Height(300, 1)), 1)
}

func BenchmarkFilm(b *testing.B) {
	p, marks := specimen.Placement(), specimen.Marks()
	for b.Loop() {
		scene.Film(p.Films[1], marks, p, scene.Options{Vertex: -1})
	}
}

func BenchmarkDraw(b *testing.B) {
	p := specimen.Placement()
	s := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Vertex: -1})
	v := scene.NewView(p.Films[1], scene.Box(0, 0, 640, 640), 1)
	for b.Loop() {
		s.Draw(v)
	}
}
