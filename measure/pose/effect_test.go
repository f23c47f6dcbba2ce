package pose

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// settledAt is a fit to marks that are exact, so that the linear law of
// propagation has its best chance, with the truth at the priors' means.
func settledAt(t testing.TB, tight float64) (*Fit, Input) {
	t.Helper()
	names, points := needles()
	in := Input{Views: []View{loose("frontal", t, 0, true), loose("lateral", t, 90, false)}, Points: names}
	for i := range in.Views {
		v := &in.Views[i]
		for k := range 3 {
			v.Turn[k] *= tight
			v.Shift[k] *= tight
		}
		v.Detector *= tight
		v.Isocentre *= tight
	}
	s := scene{points, make([][kinds]float64, 2)}
	film(t, nil, &in, s, 0.5)
	in.Lengths = []Length{{A: 0, B: 1, MM: 90, SD: 0.2}, {A: 4, B: 7, MM: 18, SD: 0.1}}
	in.Relations = []Relation{{Name: "one C-arm", Terms: []Term{{1, Setting(0, Detector)}, {-1, Setting(1, Detector)}}, SD: 0.005}}
	f, err := Adjust(in)
	if err != nil {
		t.Fatal(err)
	}
	return f, in
}

// values that a caller may compute: a coordinate, a distance, a scale.
func values(s Solution) []float64 {
	return []float64{
		s.Points[0].Y,
		r3.Norm(r3.Sub(s.Points[2], s.Points[3])),
		math.Log(s.Cameras[1].Pinhole().SourceToDetector),
		math.NaN(),
	}
}

// The contributions are what displacing each datum does to a new adjustment
// from nothing, and their squares add up to the covariance (JCGM 100, 5.1).
func TestEffectsAreWhatDisplacedInputsDo(t *testing.T) {
	f, in := settledAt(t, 0.1)
	effects, err := f.Effects(values)
	if err != nil {
		t.Fatal(err)
	}
	if effects[3] != nil {
		t.Error("a value that is no number has contributions")
	}
	for i, src := range f.Sources() {
		if src.Of == FromView || src.Of == FromRelation {
			continue // the next test
		}
		var ends [2][]float64
		for e, sign := range [2]float64{1, -1} {
			moved := in
			moved.Sightings = append([]Sighting(nil), in.Sightings...)
			moved.Lengths = append([]Length(nil), in.Lengths...)
			d := sign * 0.1 * src.SD
			switch src.Of {
			case FromSighting:
				if src.Axis == 0 {
					moved.Sightings[src.Index].X += d
				} else {
					moved.Sightings[src.Index].Y += d
				}
			case FromLength:
				moved.Lengths[src.Index].MM += d
			}
			g, err := Adjust(moved)
			if err != nil {
				t.Fatal(err)
			}
			ends[e] = values(g.Solution)
		}
		for v := range 3 {
			want := (ends[0][v] - ends[1][v]) / 0.2
			near(t, src.Name, effects[v][i], want, 1e-4*(1e-2+math.Abs(want)))
		}
	}
	sum := 0.0
	for _, u := range effects[0] {
		sum += u * u
	}
	near(t, "variance of a coordinate", sum, f.PointCovariance(0).At(1, 1), 1e-6*sum)
}

// A prior's mean is displaced as any other datum, and a trial of a Monte Carlo
// run ends where a new adjustment would.
func TestRefitIsAnAdjustment(t *testing.T) {
	f, in := settledAt(t, 0.3)
	rng := rand.New(rand.NewPCG(8, 8))
	shift := make([]float64, len(f.Sources()))
	moved := in
	moved.Views = append([]View(nil), in.Views...)
	moved.Sightings = append([]Sighting(nil), in.Sightings...)
	moved.Lengths = append([]Length(nil), in.Lengths...)
	moved.Relations = append([]Relation(nil), in.Relations...)
	for i, src := range f.Sources() {
		d := src.SD * rng.NormFloat64()
		shift[i] = d
		switch src.Of {
		case FromSighting:
			if src.Axis == 0 {
				moved.Sightings[src.Index].X += d
			} else {
				moved.Sightings[src.Index].Y += d
			}
		case FromLength:
			moved.Lengths[src.Index].MM += d
		case FromRelation:
			moved.Relations[src.Index].Equals += d
		case FromView:
			// The nominal camera itself cannot be displaced by every parameter, but
			// a relation on one parameter is a second prior: together they are one
			// of the mean displaced by d where both have the variance doubled.
			v := &moved.Views[src.Index]
			grow := func(p *float64) { *p *= math.Sqrt2 }
			switch src.Kind {
			case TurnLong, TurnCross, TurnBeam:
				grow(&v.Turn[src.Kind])
			case ShiftX, ShiftY, ShiftZ:
				grow(&v.Shift[src.Kind-ShiftX])
			case Detector:
				grow(&v.Detector)
			case Isocentre:
				grow(&v.Isocentre)
			default:
				grow(&v.Foot[src.Kind-FootX])
			}
			moved.Relations = append(moved.Relations, Relation{
				Terms: []Term{{1, Setting(src.Index, src.Kind)}}, Equals: 2 * d, SD: src.SD * math.Sqrt2,
			})
		}
	}
	got, err := f.Refit(shift)
	if err != nil {
		t.Fatal(err)
	}
	want, err := Adjust(moved)
	if err != nil {
		t.Fatal(err)
	}
	for p := range got.Points {
		nearVec(t, in.Points[p], got.Points[p], want.Points[p], 1e-3)
	}
	for v := range got.Settings {
		for k := range kinds {
			near(t, k.String(), got.Settings[v][k], want.Settings[v][k], 1e-3*math.Max(in.Views[v].prior(k), 1e-9))
		}
	}
	if _, err := f.Refit(shift[1:]); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("a displacement too few: %v", err)
	}
}

// The covariance is the scatter of trials in which every source is drawn from
// its distribution (JCGM 101), where all are small enough for the model to be
// straight: standard deviations within 5 %, some 3 standard errors at 2000.
func TestCovarianceIsTheScatter(t *testing.T) {
	f, _ := settledAt(t, 0.1)
	rng := rand.New(rand.NewPCG(4, 9))
	const n = 2000
	var sum, square [3]float64
	shift := make([]float64, len(f.Sources()))
	for range n {
		for i, s := range f.Sources() {
			shift[i] = s.SD * rng.NormFloat64()
		}
		at, err := f.Refit(shift)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range values(at)[:3] {
			sum[i] += v
			square[i] += v * v
		}
	}
	effects, err := f.Effects(values)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		scatter := math.Sqrt((square[i] - sum[i]*sum[i]/n) / (n - 1))
		stated := 0.0
		for _, u := range effects[i] {
			stated += u * u
		}
		near(t, "stated over scatter", math.Sqrt(stated)/scatter, 1, 0.05)
	}
}

func BenchmarkAdjust(b *testing.B) {
	in, _ := noHeader(b, 5)
	for b.Loop() {
		if _, err := Adjust(in); err != nil {
			b.Fatal(err)
		}
	}
}

// A trial of a Monte Carlo run: two views, 12 points.
func BenchmarkRefit(b *testing.B) {
	in, s := noHeader(b, 5)
	in.Sightings = nil
	for i, p := range []r3.Vec{{X: 20, Y: 10, Z: 5}, {X: -20, Y: 10, Z: 5}, {Y: 30, Z: -30}, {Y: 25, Z: 40}} {
		in.Points = append(in.Points, "landmark")
		s.points = append(s.points, r3.Add(p, r3.Vec{X: float64(i)}))
	}
	rng := rand.New(rand.NewPCG(5, 5))
	film(b, rng, &in, s, 0.5)
	f, err := Adjust(in)
	if err != nil {
		b.Fatal(err)
	}
	shift := make([]float64, len(f.Sources()))
	for b.Loop() {
		for i, s := range f.Sources() {
			shift[i] = s.SD * rng.NormFloat64()
		}
		if _, err := f.Refit(shift); err != nil {
			b.Fatal(err)
		}
	}
}
