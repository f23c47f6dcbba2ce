package pose

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// ask a Python script of testdata, which shares no code with the package.
func ask(t *testing.T, script, module string, problem, answer any) {
	t.Helper()
	const python = "/usr/bin/python3" // Debian's, which has cv2 and scipy
	if err := exec.Command(python, "-c", "import "+module).Run(); err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s cannot import %s (%v), and LEADLINE_REQUIRE_TOOLS=1 asks for it", python, module, err)
		}
		t.Skipf("%s cannot import %s: not compared", python, module)
	}
	in, err := json.Marshal(problem)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/"+script)
	cmd.Env = append(os.Environ(), "OPENBLAS_NUM_THREADS=1")
	cmd.Stdin = bytes.NewReader(in)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, err, stderr.String())
	}
	if err := json.Unmarshal(out, answer); err != nil {
		t.Fatal(err)
	}
}

type jsonView struct {
	Source   [3]float64     `json:"source"`
	Right    [3]float64     `json:"right"`
	Down     [3]float64     `json:"down"`
	Beam     [3]float64     `json:"beam"`
	FX       float64        `json:"fx"`
	FY       float64        `json:"fy"`
	Foot     [2]float64     `json:"foot"`
	Prior    [kinds]float64 `json:"prior"`
	Pictures [][2]float64   `json:"pictures"`
}

func three(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func viewJSON(c carm.Camera) jsonView {
	p := c.Pinhole()
	return jsonView{
		Source: three(p.Source), Right: three(p.Right), Down: three(p.Down), Beam: three(p.Beam),
		FX: p.SourceToDetector / p.Spacing.Column, FY: p.SourceToDetector / p.Spacing.Row,
		Foot: [2]float64{p.Foot.X, p.Foot.Y},
	}
}

// scipy.optimize.least_squares comes to the same views, points, chi-square and
// standard deviations, for loose and tight priors with every kind of row.
func TestAgainstSciPy(t *testing.T) {
	for _, tight := range []float64{1, 0.05} {
		in, s := noHeader(t, 21)
		rng := rand.New(rand.NewPCG(21, 21))
		in.ScaleLimit = 1
		for i := range in.Views {
			v := &in.Views[i]
			for k := range 3 {
				v.Turn[k] *= tight
				v.Shift[k] *= tight
			}
			v.Detector *= tight
			v.Isocentre *= tight
		}
		in.Views[1].Foot[1] = 0 // held
		for v := range in.Views {
			s.settings[v] = drawn(rng, in.Views[v])
		}
		in.Sightings = nil
		film(t, rng, &in, s, 0.5)
		// The hub of the second needle is seen in the frontal view only; in the
		// lateral one its shaft is marked elsewhere.
		var kept []Sighting
		for _, m := range in.Sightings {
			if m.View != 1 || m.Point != 3 {
				kept = append(kept, m)
			}
		}
		in.Sightings = kept
		for _, at := range []float64{0.4, 0.8} {
			q := s.picture(t, in.Views[1], 1, r3.Add(s.points[2], r3.Scale(at, r3.Sub(s.points[3], s.points[2]))))
			in.OnLines = append(in.OnLines, OnLine{View: 1, A: 2, B: 3, X: q.X + 0.5*rng.NormFloat64(), Y: q.Y + 0.5*rng.NormFloat64(), SD: 0.5})
		}
		in.Relations = []Relation{
			{Terms: []Term{{1, Setting(0, Detector)}, {-1, Setting(1, Detector)}}, SD: 0.01},
			{Terms: []Term{{1, Coordinate(0, 0)}, {1, Coordinate(2, 0)}}, Equals: -1.5, SD: 2},
		}
		f, err := Adjust(in)
		if err != nil {
			t.Fatal(err)
		}

		type object map[string]any
		problem := object{"points": len(in.Points)}
		var views []jsonView
		for _, v := range in.Views {
			j := viewJSON(v.Nominal)
			for k := range kinds {
				j.Prior[k] = v.prior(k)
			}
			views = append(views, j)
		}
		var sightings, lines, lengths, relations []object
		for _, m := range in.Sightings {
			sightings = append(sightings, object{"view": m.View, "point": m.Point, "x": m.X, "y": m.Y, "sd": m.SD})
		}
		for _, m := range in.OnLines {
			lines = append(lines, object{"view": m.View, "a": m.A, "b": m.B, "x": m.X, "y": m.Y, "sd": m.SD})
		}
		for _, l := range in.Lengths {
			lengths = append(lengths, object{"a": l.A, "b": l.B, "mm": l.MM, "sd": l.SD})
		}
		for _, r := range in.Relations {
			var terms [][4]any
			for _, x := range r.Terms {
				terms = append(terms, [4]any{x.By, x.Of.view, x.Of.of, x.Of.n})
			}
			relations = append(relations, object{"terms": terms, "equals": r.Equals, "sd": r.SD})
		}
		problem["views"], problem["sightings"], problem["lines"] = views, sightings, lines
		problem["lengths"], problem["relations"] = lengths, relations
		var start [][3]float64
		for _, p := range s.points {
			start = append(start, [3]float64{math.Round(p.X), math.Round(p.Y), math.Round(p.Z)})
		}
		problem["start"] = start
		var want struct {
			Settings [][kinds]float64
			Points   [][3]float64
			Chi2     float64
			SD       []float64
		}
		ask(t, "adjust.py", "scipy", problem, &want)

		for p, w := range want.Points {
			nearVec(t, in.Points[p], f.Points[p], r3.Vec{X: w[0], Y: w[1], Z: w[2]}, 1e-6)
		}
		for v, w := range want.Settings {
			for k := range kinds {
				near(t, in.Views[v].Name+" "+k.String(), f.Settings[v][k], w[k], 1e-6)
			}
		}
		chi, degrees := f.ChiSquare()
		near(t, "chi-square", chi, want.Chi2, 1e-6)
		if n := 2*len(in.Sightings) + 2 + 3 + 2 - 3*len(in.Points); degrees != n { // each prior pays for its parameter
			t.Errorf("%d degrees of freedom, want %d", degrees, n)
		}
		for c, p := range f.Parameters() {
			near(t, "SD of "+p.Kind.String(), p.SD/p.Prior, want.SD[c], 1e-6)
		}
		for p := range in.Points {
			for i := range 3 {
				w := want.SD[len(f.Parameters())+3*p+i]
				near(t, "SD of "+in.Points[p], math.Sqrt(f.PointCovariance(p).At(i, i)), w, 1e-6*(1+w))
			}
		}
	}
}

// OpenCV's best triangulation, for marks with errors, and its pose of one view
// from known points.
func TestAgainstOpenCV(t *testing.T) {
	rng := rand.New(rand.NewPCG(46, 4))
	names, points := needles()
	in := Input{
		Views:  []View{{Name: "frontal", Nominal: nominal(t, 175, 3)}, {Name: "lateral", Nominal: nominal(t, 84, -6)}},
		Points: names,
	}
	s := scene{points, make([][kinds]float64, 2)}
	film(t, rng, &in, s, 0.5)
	f, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}

	problem := map[string]any{}
	var views []jsonView
	for v := range in.Views {
		j := viewJSON(in.Views[v].Nominal)
		for _, m := range in.Sightings {
			if m.View == v {
				j.Pictures = append(j.Pictures, [2]float64{m.X, m.Y})
			}
		}
		views = append(views, j)
	}
	var known [][3]float64
	for _, p := range points {
		known = append(known, three(p))
	}
	problem["views"], problem["known"] = views, known
	var want struct {
		Points [][3]float64
		Source [3]float64
		Axes   [3][3]float64
	}
	ask(t, "opencv.py", "cv2", problem, &want)
	for p, w := range want.Points {
		nearVec(t, names[p], f.Points[p], r3.Vec{X: w[0], Y: w[1], Z: w[2]}, 1e-5)
	}

	// The lateral view alone, its place and turn as good as free.
	alone := Input{
		Views:  []View{{Nominal: in.Views[1].Nominal, Turn: [3]float64{1e4, 1e4, 1e4}, Shift: [3]float64{1e6, 1e6, 1e6}}},
		Points: names, ScaleLimit: 1,
	}
	for _, m := range in.Sightings {
		if m.View == 1 {
			m.View = 0
			alone.Sightings = append(alone.Sightings, m)
		}
	}
	for p, v := range points {
		for axis, mm := range three(v) {
			alone.Relations = append(alone.Relations, Relation{Terms: []Term{{1, Coordinate(p, axis)}}, Equals: mm, SD: 1e-4})
		}
	}
	if f, err = Adjust(alone); err != nil {
		t.Fatal(err)
	}
	got := f.Cameras[0].Pinhole()
	nearVec(t, "source", got.Source, r3.Vec{X: want.Source[0], Y: want.Source[1], Z: want.Source[2]}, 1e-3)
	// A film is looked at from the detector, so its axes are left-handed; OpenCV's
	// are right-handed, and all turned round they give the same pictures.
	for i, a := range [3]r3.Vec{got.Right, got.Down, got.Beam} {
		nearVec(t, "axis", r3.Scale(-1, a), r3.Vec{X: want.Axes[i][0], Y: want.Axes[i][1], Z: want.Axes[i][2]}, 1e-6)
	}
}
