package pose

import (
	"errors"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// twoNeedles is a case with its geometry in the header: turns of 1 degree,
// distances of 1 %, a shift of 2 mm, marks of 0.5 px; of two needles, one on each
// side, both ends of each are seen in both views. The second is a mirror image of
// the first, but lower by so many mm.
func twoNeedles(t testing.TB, rng *rand.Rand, lower float64, known bool) (Input, scene) {
	names, points := needles()
	names, points = names[:4], append([]r3.Vec(nil), points[:4]...)
	for i := range 2 {
		points[2+i] = r3.Vec{X: -points[i].X, Y: points[i].Y, Z: points[i].Z - lower}
	}
	in := Input{Points: names}
	s := scene{points: points}
	for i, primary := range []float64{0, 90} {
		v := View{Nominal: nominal(t, primary, 0), Turn: [3]float64{1, 1, 1}, Detector: 0.01, Isocentre: 0.01, Foot: [2]float64{3, 3}}
		if i == 1 {
			v.Shift = [3]float64{2, 2, 2}
		}
		if !known {
			v = loose("", t, primary, i == 0)
		}
		in.Views = append(in.Views, v)
		s.settings = append(s.settings, drawn(rng, v))
	}
	film(t, rng, &in, s, 0.5)
	return in, s
}

// Needles at different heights whose labels are exchanged on the lateral film
// miss in height and are told. So are mirror images of each other, and a mirrored
// film, where the hubs lie far from the beams' height: what is nearer to the
// detector lies further from the middle of the film. Tips alone, at the beams'
// height, tell nothing. None is told wrongly beyond one in a thousand, and chance.
func TestCompareTellsOnlyWhatSeparates(t *testing.T) {
	n := studied(60)
	for _, c := range []struct {
		name        string
		lower       float64
		known       bool // geometry is in the header
		tips        bool // nothing else is marked, and they lie at the beams' height
		exchange    bool // asked for
		mirror      bool
		least, most float64 // share that is told
	}{
		{"20 mm apart in height, exchanged?", 20, true, false, true, false, 0.95, 1},
		{"3 mm apart, exchanged?", 3, true, false, true, false, 0.5, 1},
		{"mirror images, exchanged?", 0, true, false, true, false, 0.5, 1},
		{"20 mm apart, mirrored?", 20, true, false, false, true, 0.9, 1},
		{"tips alone, exchanged?", 0, true, true, true, false, 0, 0.05},
		{"tips alone, mirrored?", 0, true, true, false, true, 0, 0.05},
		{"no geometry, 20 mm apart, exchanged?", 20, false, false, true, false, 0, 1},
		{"no geometry, 20 mm apart, mirrored?", 20, false, false, false, true, 0, 1},
		{"no geometry, tips alone, either?", 0, false, true, true, true, 0, 0.01},
	} {
		var mu sync.Mutex
		told, wrong, failed := 0, 0, 0
		many(n, func(_ int, rng *rand.Rand) {
			in, s := twoNeedles(t, rng, c.lower, c.known)
			pairs := [][2]int{{0, 2}, {1, 3}}
			if c.tips {
				pairs = [][2]int{{0, 1}}
				in.Points, in.Sightings = []string{"tip 1", "tip 2"}, nil
				s.points = []r3.Vec{{X: 22, Y: -5, Z: -1}, {X: -22, Y: -5, Z: -1}}
				film(t, rng, &in, s, 0.5)
			}
			mirrored, err := Mirror(in, 0, 1000)
			if err != nil {
				t.Error(err)
				return
			}
			all := []Reading{{"as labelled", in}}
			if c.exchange {
				all = append(all, Reading{"devices exchanged", Exchange(in, 1, pairs...)})
			}
			if c.mirror {
				all = append(all, Reading{"frontal film mirrored", mirrored})
			}
			r := Compare(all...)
			mu.Lock()
			defer mu.Unlock()
			for _, s := range r.Scores {
				if s.Err != nil {
					failed++
				}
			}
			if r.Told {
				told++
				if r.Best != 0 { // the marks were made as labelled
					wrong++
				}
			}
		})
		share := float64(told) / float64(n)
		t.Logf("%-40s told %.1f %%, wrongly %d of %d", c.name, 100*share, wrong, n)
		if failed > n/20 {
			t.Errorf("%s: %d readings could not be adjusted", c.name, failed)
		}
		if wrong > n/500 {
			t.Errorf("%s: told wrongly in %d of %d", c.name, wrong, n)
		}
		if share < c.least || share > c.most {
			t.Errorf("%s: told in %d of %d", c.name, told, n)
		}
	}
}

// With exact marks the reading that made them has nothing left over; alone it is
// compared with nothing.
func TestCompareAlone(t *testing.T) {
	names, points := needles()
	in := Input{Views: []View{{Nominal: nominal(t, 0, 0)}, {Nominal: nominal(t, 90, 0)}}, Points: names[:4]}
	film(t, nil, &in, scene{points[:4], make([][kinds]float64, 2)}, 0.5)
	c := Compare(Reading{"as labelled", in})
	if c.Told || c.Best != 0 || c.Scores[0].ChiSquare > 1e-12 || c.Scores[0].Degrees != 4 {
		t.Errorf("%+v", c)
	}
	// A reading that cannot be adjusted is not one that was ruled out.
	broken := in
	broken.Points = nil
	c = Compare(Reading{"as labelled", in}, Reading{"broken", broken})
	if c.Told || c.Best != 0 || !errors.Is(c.Scores[1].Err, imaging.ErrBadInput) {
		t.Errorf("%+v", c)
	}
}

// Exchanging twice and mirroring twice is the input again.
func TestExchangeAndMirrorUndoThemselves(t *testing.T) {
	in, _ := twoNeedles(t, rand.New(rand.NewPCG(1, 1)), 5, true)
	in.OnLines = []OnLine{{View: 1, A: 0, B: 1, X: 3, Y: 4, SD: 1}}
	pairs := [][2]int{{0, 2}, {1, 3}}
	once := Exchange(in, 1, pairs...)
	if once.OnLines[0].A != 2 || once.OnLines[0].B != 3 || in.OnLines[0].A != 0 {
		t.Error("a line's points are not exchanged, or the input was changed")
	}
	twice := Exchange(once, 1, pairs...)
	for i := range in.Sightings {
		if twice.Sightings[i] != in.Sightings[i] {
			t.Errorf("sighting %d came back as %+v", i, twice.Sightings[i])
		}
		if m := once.Sightings[i]; m.View == 0 && m != in.Sightings[i] || m.View == 1 && m.Point == in.Sightings[i].Point {
			t.Errorf("sighting %d exchanged is %+v", i, m)
		}
	}
	mirrored, err := Mirror(in, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	// A thing to the patient's left shows on the other half, as far from the middle.
	p, _ := in.Views[0].Nominal.Project(r3.Vec{X: 30, Z: 10})
	q, _ := mirrored.Views[0].Nominal.Project(r3.Vec{X: 30, Z: 10})
	near(t, "column", q.X, 1000-p.X, 1e-9)
	near(t, "row", q.Y, p.Y, 1e-9)
	back, err := Mirror(mirrored, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if back.Views[0].Nominal != in.Views[0].Nominal {
		t.Error("mirrored twice is another camera")
	}
	if _, err := Mirror(in, 2, 1000); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("no such view: %v", err)
	}
}

// Gaps and residuals, over their stated standard deviations, scatter as a
// standard normal variable where all that was supposed holds.
func TestGapsAreAsLargeAsStated(t *testing.T) {
	n := studied(150)
	var mu sync.Mutex
	var gap, left tally
	var chi, square float64
	many(n, func(_ int, rng *rand.Rand) {
		in, _ := twoNeedles(t, rng, 5, true)
		f, err := Adjust(in)
		if err != nil {
			t.Error(err)
			return
		}
		x, k := f.ChiSquare()
		mu.Lock()
		defer mu.Unlock()
		chi += x / float64(k)
		square += (x - float64(k)) * (x - float64(k)) / (2 * float64(k))
		for _, g := range f.Gaps() {
			if g.Checked {
				gap.add(g.Normalised, 1)
			}
		}
		for _, r := range f.Residuals() {
			if r.Source.Of == FromSighting && r.Normalised != 0 {
				left.add(r.Normalised, 1)
			}
		}
	})
	t.Logf("gaps %.3f of what is stated, %.1f %% within 1.96; residuals %.3f, %.1f %%; chi-square per degree %.3f, its variance %.2f of 2 k",
		gap.rms(), 100*gap.share(), left.rms(), 100*left.share(), chi/float64(n), square/float64(n))
	// Gaps of one case share its views: count a case once.
	tol := 3.3 / math.Sqrt(2*float64(n))
	near(t, "gaps over stated", gap.rms(), 1, tol)
	near(t, "residuals over stated", left.rms(), 1, tol)
	near(t, "chi-square per degree", chi/float64(n), 1, 3.3*math.Sqrt(2/4.0/float64(n)))
}

// A mark that is wrong by 6 px leaves its point the largest gap, where views are
// known too well to make up for it.
func TestAWrongMarkStandsOut(t *testing.T) {
	names, points := needles()
	in := Input{Points: names, Views: []View{
		{Nominal: nominal(t, 0, 0), Turn: [3]float64{0.1, 0.1, 0.1}},
		{Nominal: nominal(t, 90, 0), Turn: [3]float64{0.1, 0.1, 0.1}, Shift: [3]float64{1, 1, 1}},
	}}
	film(t, rand.New(rand.NewPCG(3, 1)), &in, scene{points, make([][kinds]float64, 2)}, 0.5)
	in.Sightings[9].Y += 6
	f, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	worst := Gap{}
	for _, g := range f.Gaps() {
		if g.Normalised > worst.Normalised {
			worst = g
		}
	}
	if worst.Point != in.Sightings[9].Point || worst.Normalised < 4 {
		t.Errorf("the largest gap is %+v", worst)
	}
}
