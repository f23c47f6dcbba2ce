package pose

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// nominal camera of a C-arm: 1000 mm from source to detector, 600 mm to the
// isocentre, pixels of 0.3 mm: 0.18 mm a pixel at the isocentre.
func nominal(t testing.TB, primary, secondary float64) carm.Camera {
	t.Helper()
	c, err := carm.FromGeometry(imaging.Geometry{
		Columns: 1000, Rows: 1000,
		ImagerSpacing:    imaging.Spacing{Row: 0.3, Column: 0.3, Known: true},
		SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(600),
		PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(secondary),
	})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// scene is a truth to be estimated: points, and how each view differs from its
// nominal camera.
type scene struct {
	points   []r3.Vec
	settings [][kinds]float64
}

// picture of a point, by the camera of the view's true settings.
func (s scene) picture(t testing.TB, v View, view int, p r3.Vec) r2.Vec {
	t.Helper()
	b := bodyOf(v.Nominal)
	st := b.at(&s.settings[view])
	c, err := st.camera()
	if err != nil {
		t.Fatal(err)
	}
	q, ok := c.Project(p)
	if !ok {
		t.Fatalf("%v lies behind the source", p)
	}
	return q
}

// drawn settings of a view, from its priors.
func drawn(rng *rand.Rand, v View) (out [kinds]float64) {
	for k := range kinds {
		out[k] = v.prior(k) * rng.NormFloat64()
	}
	return out
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func nearVec(t *testing.T, what string, got, want r3.Vec, tol float64) {
	t.Helper()
	if !(r3.Norm(r3.Sub(got, want)) <= tol) {
		t.Errorf("%s = %v, want %v within %g", what, got, want, tol)
	}
}
