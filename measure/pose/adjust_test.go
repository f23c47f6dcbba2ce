package pose

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// Two views at right angles that are known exactly, one point, by hand.
//
// The frontal view (primary 0) has its source at y = +600, the lateral (+90) at
// x = -600; both f = 1000/0.3 = 3333.33 px. The point 30, 20, -50 lies 580 mm
// from the frontal source: x = 500 + 3333.33 * 30/580 = 672.4138, y = 500 +
// 3333.33 * 50/580 = 787.3563; and 630 mm from the lateral one: x = 500 +
// 3333.33 * 20/630 = 605.8201, y = 500 + 3333.33 * 50/630 = 764.5503.
func TestTriangulationByHand(t *testing.T) {
	in := Input{
		Views:  []View{{Nominal: nominal(t, 0, 0)}, {Nominal: nominal(t, 90, 0)}},
		Points: []string{"tip"},
		Sightings: []Sighting{
			{View: 0, X: 500 + 30/580.0/0.0003, Y: 500 + 50/580.0/0.0003, SD: 0.5},
			{View: 1, X: 500 + 20/630.0/0.0003, Y: 500 + 50/630.0/0.0003, SD: 0.5},
		},
	}
	f, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	nearVec(t, "point", f.Points[0], r3.Vec{X: 30, Y: 20, Z: -50}, 1e-9)
	column, row, relative := f.Scale(0, 0)
	near(t, "frontal scale", column, 580*0.0003, 1e-9)
	near(t, "frontal scale", row, 580*0.0003, 1e-9)
	// The lateral mark's 0.5 px move the depth by 0.5 * 0.189 mm of 580 mm, and
	// little else does.
	near(t, "its relative SD", relative, 0.5*630*0.0003/580, 2e-6)
	if c, n := f.ChiSquare(); !(c < 1e-15) || n != 1 {
		t.Errorf("chi-square %g with %d degrees", c, n)
	}
	g := f.Gaps()
	if len(g) != 1 || g[0].MM > 1e-9 || !g[0].Checked {
		t.Errorf("gaps %+v", g)
	}

	// Rows that disagree by 2 px: with the beams at right angles the rays pass at
	// 2 px, here some 2 * 0.18 mm, and the residuals share it.
	in.Sightings[1].Y += 2
	if f, err = Adjust(in); err != nil {
		t.Fatal(err)
	}
	// The rays' heights at the corner where they pass each other, on paper: both
	// directions as (run, fall) from their sources.
	gap := f.Gaps()[0]
	near(t, "gap in the lateral film", gap.PixelsB, 2, 0.02) // epipolar lines slant by 5 degrees
	near(t, "gap", gap.MM, 2*630*0.0003, 0.01)
	// Two marks of 0.5 px each, at 0.174 and 0.189 mm a pixel.
	near(t, "its SD", gap.SD, 0.5*math.Hypot(0.174, 0.189), 0.002)
	near(t, "normalised", gap.Normalised, gap.MM/gap.SD, 1e-9)
	if c, n := f.ChiSquare(); n != 1 || math.Abs(c-gap.Normalised*gap.Normalised) > 0.02*c {
		// With one degree of freedom chi-square is the square of what is checked.
		t.Errorf("chi-square %g with %d degrees, want %g", c, n, gap.Normalised*gap.Normalised)
	}
}

// loose is what is supposed of a C-arm whose header says nothing.
func loose(name string, t testing.TB, primary float64, first bool) View {
	v := View{
		Name: name, Nominal: nominal(t, primary, 0), Turn: [3]float64{5, 5, 5},
		Detector: 0.1, Isocentre: 0.1, Foot: [2]float64{5, 5},
	}
	if !first {
		v.Shift = [3]float64{20, 20, 20}
	}
	return v
}

// needles in the sacrum, roughly: two needles of 90 mm and a lead's four
// contacts, mm from the isocentre.
func needles() (names []string, points []r3.Vec) {
	names = []string{"tip 1", "hub 1", "tip 2", "hub 2", "contact 0", "contact 1", "contact 2", "contact 3"}
	a := r3.Unit(r3.Vec{X: 0.15, Y: 0.85, Z: 0.5})
	b := r3.Unit(r3.Vec{X: -0.1, Y: 0.8, Z: 0.55})
	tip1, tip2, lead := r3.Vec{X: 22, Y: -5, Z: -12}, r3.Vec{X: -24, Y: -2, Z: -10}, r3.Vec{X: 25, Y: -28, Z: -24}
	c := r3.Unit(r3.Vec{X: -0.3, Y: 0.75, Z: 0.6})
	points = []r3.Vec{
		tip1, r3.Add(tip1, r3.Scale(90, a)), tip2, r3.Add(tip2, r3.Scale(90, b)),
		lead, r3.Add(lead, r3.Scale(6, c)), r3.Add(lead, r3.Scale(12, c)), r3.Add(lead, r3.Scale(18, c)),
	}
	return names, points
}

// film marks every point of the scene in every view, with normal errors of sd px.
func film(t testing.TB, rng *rand.Rand, in *Input, s scene, sd float64) {
	for v := range in.Views {
		for p := range s.points {
			q := s.picture(t, in.Views[v], v, s.points[p])
			m := Sighting{View: v, Point: p, X: q.X, Y: q.Y, SD: sd}
			if rng != nil {
				m.X += sd * rng.NormFloat64()
				m.Y += sd * rng.NormFloat64()
			}
			in.Sightings = append(in.Sightings, m)
		}
	}
}

// With exact marks, exact lengths and truth at the prior means, the truth comes out;
// what was supposed of it may be loose.
func TestExactMarksGiveTheTruth(t *testing.T) {
	names, points := needles()
	in := Input{Views: []View{loose("frontal", t, 0, true), loose("lateral", t, 90, false)}, Points: names}
	s := scene{points, make([][kinds]float64, 2)}
	film(t, nil, &in, s, 0.5)
	in.Lengths = []Length{{A: 0, B: 1, MM: 90, SD: 0.1}, {A: 4, B: 7, MM: 18, SD: 0.1}}
	f, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	for p := range points {
		nearVec(t, names[p], f.Points[p], points[p], 1e-6)
	}
}

func noHeader(t testing.TB, seed uint64) (Input, scene) {
	rng := rand.New(rand.NewPCG(seed, 3))
	names, points := needles()
	in := Input{Views: []View{loose("frontal", t, 0, true), loose("lateral", t, 90, false)}, Points: names}
	s := scene{points: points}
	for _, v := range in.Views {
		s.settings = append(s.settings, drawn(rng, v))
	}
	film(t, rng, &in, s, 0.5)
	for i := range 3 {
		in.Lengths = append(in.Lengths, Length{A: 4 + i, B: 5 + i, MM: 6, SD: 0.05})
	}
	return in, s
}

func TestDeterminism(t *testing.T) {
	in, _ := noHeader(t, 5)
	a, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a.Solution, b.Solution) || !reflect.DeepEqual(a.covariance, b.covariance) {
		t.Error("two adjustments of one input differ")
	}
}

// What nothing fixes is refused, and named.
func TestTooLittle(t *testing.T) {
	in, _ := noHeader(t, 6)
	in.Lengths = nil
	_, err := Adjust(in)
	if !errors.Is(err, ErrTooLittle) || !strings.Contains(err.Error(), "the scale is known") || !strings.Contains(err.Error(), "known length") {
		t.Errorf("no length known: %v", err)
	}

	in, _ = noHeader(t, 6)
	var once []Sighting
	for _, s := range in.Sightings {
		if s.Point != 3 || s.View == 0 {
			once = append(once, s)
		}
	}
	in.Sightings = once
	_, err = Adjust(in)
	if !errors.Is(err, ErrTooLittle) || !strings.Contains(err.Error(), "where hub 2 lies") || strings.Contains(err.Error(), "tip") {
		t.Errorf("a hub seen once: %v", err)
	}
}

func TestBadInput(t *testing.T) {
	for name, spoil := range map[string]func(*Input){
		"no views":               func(in *Input) { in.Views = nil },
		"no such view":           func(in *Input) { in.Sightings[0].View = 2 },
		"no such point":          func(in *Input) { in.Sightings[0].Point = -1 },
		"mark without spread":    func(in *Input) { in.Sightings[0].SD = 0 },
		"mark that is no number": func(in *Input) { in.Sightings[0].X = math.NaN() },
		"no camera":              func(in *Input) { in.Views[0] = View{} },
		"negative prior":         func(in *Input) { in.Views[0].Turn[1] = -1 },
		"length of nothing":      func(in *Input) { in.Lengths[0].B = in.Lengths[0].A },
		"negative length":        func(in *Input) { in.Lengths[0].MM = -6 },
		"line through one point": func(in *Input) { in.OnLines = []OnLine{{A: 1, B: 1, SD: 1}} },
		"relation of nothing":    func(in *Input) { in.Relations = []Relation{{SD: 1}} },
		"no such axis":           func(in *Input) { in.Relations = []Relation{{Terms: []Term{{1, Coordinate(0, 3)}}, SD: 1}} },
		"no such setting":        func(in *Input) { in.Relations = []Relation{{Terms: []Term{{1, Setting(0, kinds)}}, SD: 1}} },
	} {
		in, _ := noHeader(t, 7)
		spoil(&in)
		if _, err := Adjust(in); !errors.Is(err, imaging.ErrBadInput) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
