package carm

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// geometry of a C-arm with distances that make the isocentre's plane appear
// 1.5 times as large (1200 over 800), and oblong pixels.
func geometry(primary, secondary, turn float64, flip string) imaging.Geometry {
	return imaging.Geometry{
		Kind: imaging.KindXA, Columns: 1000, Rows: 800,
		ImagerSpacing:       imaging.Spacing{Row: 0.3, Column: 0.2, Known: true},
		SourceToDetector:    imaging.Known(1200),
		SourceToPatient:     imaging.Known(800),
		PrimaryAngle:        imaging.Known(primary),
		SecondaryAngle:      imaging.Known(secondary),
		FieldOfViewRotation: imaging.Known(turn),
		FieldOfViewFlip:     flip,
	}
}

func camera(t *testing.T, g imaging.Geometry) Camera {
	t.Helper()
	c, err := FromGeometry(g)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The expected numbers were worked out on paper from PS3.3 C.8.7.5.1.2 (where
// the detector stands) and the film being looked at from the detector, head up.
// The centre is 500, 400. A point 30 mm across and 20 mm headwards in the plane
// of the isocentre lies 45 mm across and 30 mm up on the detector: 225 columns of
// 0.2 mm and 100 rows of 0.3 mm; after a quarter turn the 30 mm are 150 columns
// and the 45 mm are 150 rows.
func TestProjectByHand(t *testing.T) {
	left := r3.Vec{X: 30, Z: 20} // 30 mm to the patient's left
	back := r3.Vec{Y: 30, Z: 20} // 30 mm behind the isocentre
	for _, c := range []struct {
		name                     string
		primary, secondary, turn float64
		flip                     string
		point                    r3.Vec
		x, y                     float64
	}{
		{"the isocentre in the middle", 33, -12, 90, "YES", r3.Vec{}, 500, 400},
		{"0: left to the right", 0, 0, 0, "NO", left, 725, 300},
		{"0: behind, so smaller: 1200/700 of 20 mm is 34.2857 mm, but nearer the source", 0, 0, 0, "NO", r3.Vec{Y: 100, Z: 20}, 500, 400 - 34.285714285714285/0.3},
		{"0: in front, 1200/900 of 20 mm is 26.6667 mm", 0, 0, 0, "NO", r3.Vec{Y: -100, Z: 20}, 500, 400 - 26.666666666666668/0.3},
		{"180: left to the left", 180, 0, 0, "NO", left, 275, 300},
		{"-180 is 180", -180, 0, 0, "NO", left, 275, 300},
		{"+90: behind to the right", 90, 0, 0, "NO", back, 725, 300},
		{"-90: behind to the left", -90, 0, 0, "NO", back, 275, 300},
		{"+90: left is nearer the detector, 1200/900 of 20 mm", 90, 0, 0, "NO", r3.Vec{X: 100, Z: 20}, 500, 400 - 26.666666666666668/0.3},
		{"-90: left is nearer the source, 1200/700 of 20 mm", -90, 0, 0, "NO", r3.Vec{X: 100, Z: 20}, 500, 400 - 34.285714285714285/0.3},
		{"detector over the head: front downwards", 0, 90, 0, "NO", r3.Vec{X: 30, Y: -20}, 725, 500},

		{"0 flipped", 0, 0, 0, "YES", left, 275, 300},
		{"180 flipped", 180, 0, 0, "YES", left, 725, 300},
		{"+90 flipped", 90, 0, 0, "YES", back, 275, 300},
		{"-90 flipped", -90, 0, 0, "YES", back, 725, 300},

		// A quarter turn clockwise: what was right is below, what was up is right.
		{"0 turned 90", 0, 0, 90, "NO", left, 650, 550},
		{"0 turned 180", 0, 0, 180, "NO", left, 275, 500},
		{"0 turned 270", 0, 0, 270, "NO", left, 350, 250},
		{"0 turned 90 then flipped", 0, 0, 90, "YES", left, 350, 550},
		{"0 turned 180 then flipped", 0, 0, 180, "YES", left, 725, 500},
		{"0 turned 270 then flipped", 0, 0, 270, "YES", left, 650, 250},
		{"180 turned 90", 180, 0, 90, "NO", left, 650, 250},
		{"+90 turned 90", 90, 0, 90, "NO", back, 650, 550},
		{"-90 turned 90 then flipped", -90, 0, 90, "YES", back, 350, 250},
	} {
		got, ok := camera(t, geometry(c.primary, c.secondary, c.turn, c.flip)).Project(c.point)
		if !ok || math.Abs(got.X-c.x) > 1e-9 || math.Abs(got.Y-c.y) > 1e-9 {
			t.Errorf("%s: got %v, want %g, %g", c.name, got, c.x, c.y)
		}
	}
}

// Letters from PS3.3 C.7.6.1.1.1 and the position of the detector, by hand.
func TestOrientationByHand(t *testing.T) {
	for _, c := range []struct {
		primary, secondary, turn float64
		flip                     string
		row, column              string
	}{
		{0, 0, 0, "NO", "L", "F"},
		{180, 0, 0, "", "R", "F"},
		{-180, 0, 0, "NO", "R", "F"},
		{90, 0, 0, "NO", "P", "F"},
		{-90, 0, 0, "NO", "A", "F"},
		{0, 0, 0, "YES", "R", "F"},
		{180, 0, 0, "YES", "L", "F"},
		{90, 0, 0, "YES", "A", "F"},
		{-90, 0, 0, "YES", "P", "F"},
		{0, 0, 90, "NO", "H", "L"},
		{0, 0, 180, "NO", "R", "H"},
		{0, 0, 270, "NO", "F", "R"},
		{0, 0, -90, "NO", "F", "R"},
		{0, 0, 90, "YES", "F", "L"},
		{0, 0, 180, "YES", "L", "H"},
		{0, 0, 270, "YES", "H", "R"},
		{180, 0, 90, "NO", "H", "R"},
		{180, 0, 180, "NO", "L", "H"},
		{180, 0, 270, "YES", "H", "L"},
		{90, 0, 90, "NO", "H", "P"},
		{90, 0, 180, "NO", "A", "H"},
		{90, 0, 270, "NO", "F", "A"},
		{-90, 0, 90, "YES", "F", "A"},
		{12, -8, 0, "NO", "L", "F"},
		{165, 10, 0, "NO", "R", "F"},
		{30, 0, 0, "NO", "LP", "F"},
		{-30, 0, 0, "NO", "LA", "F"},
		{60, 0, 0, "NO", "PL", "F"},
		{0, 30, 0, "NO", "L", "FA"},
	} {
		o, ok := Orientation(geometry(c.primary, c.secondary, c.turn, c.flip))
		if !ok || o.Row != c.row || o.Column != c.column {
			t.Errorf("angles %g, %g, turned %g, flip %q: got %s\\%s, want %s\\%s", c.primary, c.secondary, c.turn, c.flip, o.Row, o.Column, c.row, c.column)
		}
	}
	g := geometry(0, 0, 0, "NO")
	g.PrimaryAngle = imaging.Number{}
	if o, ok := Orientation(g); ok {
		t.Errorf("predicted %v without a primary angle", o)
	}
	if o, ok := Orientation(geometry(0, 0, 45, "NO")); ok {
		t.Errorf("predicted %v for a turn of 45 degrees", o)
	}
}

// pose is one camera as the Python oracle reads it.
type pose struct {
	Primary       float64      `json:"primary"`
	Secondary     float64      `json:"secondary"`
	Turn          int          `json:"turn"`
	Flip          bool         `json:"flip"`
	SID           float64      `json:"sid"`
	SOD           float64      `json:"sod"`
	Columns       int          `json:"columns"`
	Rows          int          `json:"rows"`
	ColumnSpacing float64      `json:"columnSpacing"`
	RowSpacing    float64      `json:"rowSpacing"`
	Points        [][3]float64 `json:"points"`
}

func (p pose) geometry() imaging.Geometry {
	flip := "NO"
	if p.Flip {
		flip = "YES"
	}
	return imaging.Geometry{
		Kind: imaging.KindXA, Columns: p.Columns, Rows: p.Rows,
		ImagerSpacing:       imaging.Spacing{Row: p.RowSpacing, Column: p.ColumnSpacing, Known: true},
		SourceToDetector:    imaging.Known(p.SID),
		SourceToPatient:     imaging.Known(p.SOD),
		PrimaryAngle:        imaging.Known(p.Primary),
		SecondaryAngle:      imaging.Known(p.Secondary),
		FieldOfViewRotation: imaging.Known(float64(p.Turn)),
		FieldOfViewFlip:     flip,
	}
}

func randomPose(r *rand.Rand) pose {
	p := pose{
		Primary: r.Float64()*360 - 180, Secondary: r.Float64()*120 - 60,
		Turn: 90 * r.IntN(4), Flip: r.IntN(2) == 1,
		SID: 900 + r.Float64()*400, Columns: 512 + r.IntN(1024), Rows: 512 + r.IntN(1024),
		ColumnSpacing: 0.1 + r.Float64()*0.3, RowSpacing: 0.1 + r.Float64()*0.3,
	}
	p.SOD = p.SID * (0.5 + 0.4*r.Float64())
	return p
}

// OpenCV's projectPoints and scipy's rotations against Project, over random
// poses, turns, flips and pixel shapes.
func TestProjectAgainstOpenCV(t *testing.T) {
	const python = "/usr/bin/python3" // Debian's, which has cv2 and scipy
	if out, err := exec.Command(python, "-c", "import cv2, scipy").CombinedOutput(); err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s with cv2 and scipy is required: %v %s", python, err, out)
		}
		t.Skipf("%s with cv2 and scipy is not here: %v", python, err)
	}
	r := rand.New(rand.NewPCG(1510, 1511))
	poses := make([]pose, 400)
	for i := range poses {
		poses[i] = randomPose(r)
		for range 10 {
			poses[i].Points = append(poses[i].Points, [3]float64{r.Float64()*300 - 150, r.Float64()*300 - 150, r.Float64()*300 - 150})
		}
	}
	in, err := json.Marshal(poses)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/project.py")
	cmd.Stdin = bytes.NewReader(in)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("oracle: %v\n%s", err, stderr.String())
	}
	var want [][][2]float64
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for i, p := range poses {
		c := camera(t, p.geometry())
		for j, q := range p.Points {
			got, ok := c.Project(r3.Vec{X: q[0], Y: q[1], Z: q[2]})
			if !ok {
				t.Fatalf("pose %+v: no projection of %v", p, q)
			}
			d := math.Hypot(got.X-want[i][j][0], got.Y-want[i][j][1])
			worst = math.Max(worst, d)
			if d > 1e-6 {
				t.Fatalf("pose %+v point %v: got %v, OpenCV %v", p, q, got, want[i][j])
			}
		}
	}
	t.Logf("largest difference from OpenCV: %.1e px over %d poses", worst, len(poses))
}

// Every point of a ray falls on the pixel the ray was drawn to.
func TestRayRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		p := randomPose(r)
		c := camera(t, p.geometry())
		px := r2.Vec{X: r.Float64() * float64(p.Columns), Y: r.Float64() * float64(p.Rows)}
		origin, direction := c.Ray(px)
		if math.Abs(r3.Norm(direction)-1) > 1e-12 {
			t.Fatalf("direction %v is not a unit vector", direction)
		}
		if math.Abs(r3.Norm(origin)-p.SOD) > 1e-9 {
			t.Fatalf("source %v is not %g mm from the isocentre", origin, p.SOD)
		}
		got, ok := c.Project(r3.Add(origin, r3.Scale(1+r.Float64()*1000, direction)))
		if !ok || r2.Norm(r2.Sub(got, px)) > 1e-6 {
			t.Fatalf("pose %+v: %v came back as %v", p, px, got)
		}
		if _, ok := c.Project(r3.Sub(origin, direction)); ok {
			t.Fatalf("pose %+v: a point behind the source was projected", p)
		}
	}
}

// Whatever lies on a ray of one film lies on its epipolar line in the other.
func TestEpipolarHoldsEveryPointOfTheRay(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		pa, pb := randomPose(r), randomPose(r)
		a, b := camera(t, pa.geometry()), camera(t, pb.geometry())
		thing := r3.Vec{X: r.Float64()*160 - 80, Y: r.Float64()*160 - 80, Z: r.Float64()*160 - 80}
		seen, _ := a.Project(thing)
		point, direction, ok := Epipolar(a, seen, b)
		if !ok {
			t.Fatalf("no line between %+v and %+v", pa, pb)
		}
		if math.Abs(r2.Norm(direction)-1) > 1e-12 {
			t.Fatalf("direction %v is not a unit vector", direction)
		}
		origin, ray := a.Ray(seen)
		last, started := 0.0, false
		for k := -60.0; k <= 60; k += 20 {
			q, ok := b.Project(r3.Add(thing, r3.Scale(k, ray)))
			if !ok {
				continue
			}
			off := r2.Sub(q, point)
			if d := math.Abs(r2.Cross(direction, off)); d > 1e-6 {
				t.Fatalf("a point of the ray from %v lies %g px off the line, between %+v and %+v", origin, d, pa, pb)
			}
			if s := r2.Dot(direction, off); started && s <= last {
				t.Fatalf("the line does not run as the ray does, between %+v and %+v", pa, pb)
			} else {
				last, started = s, true
			}
		}
	}
	same := camera(t, geometry(180, 0, 0, "NO"))
	if _, _, ok := Epipolar(same, r2.Vec{X: 300, Y: 200}, same); ok {
		t.Error("a film has an epipolar line in itself")
	}
}

// On paper: frontal at 180 and lateral at +90 share their long axis, so the
// line of a point on the frontal film's horizontal mid line is the lateral's.
func TestEpipolarByHand(t *testing.T) {
	frontal, lateral := camera(t, geometry(180, 0, 0, "NO")), camera(t, geometry(90, 0, 0, "NO"))
	point, direction, ok := Epipolar(frontal, r2.Vec{X: 123, Y: 400}, lateral)
	// The frontal beam runs from front to back of the body, to the right on the lateral film.
	if !ok || math.Abs(point.Y-400) > 1e-9 || math.Abs(direction.X-1) > 1e-12 || math.Abs(direction.Y) > 1e-12 {
		t.Errorf("got %v along %v, %v", point, direction, ok)
	}
	// 50 rows above the middle are 15 mm on the detector and 10 mm at the
	// isocentre, in both. The ray climbs 10 mm in 800: on the lateral film 1/80
	// times 0.2 over 0.3, or 1/120 row a column.
	point, direction, ok = Epipolar(frontal, r2.Vec{X: 500, Y: 350}, lateral)
	isocentre := r2.Vec{X: 500, Y: 350}
	if !ok || math.Abs(r2.Cross(direction, r2.Sub(isocentre, point))) > 1e-9 || math.Abs(direction.Y/direction.X+1.0/120) > 1e-12 || direction.X < 0 {
		t.Errorf("got %v along %v, %v", point, direction, ok)
	}
}

func TestFromGeometryDerives(t *testing.T) {
	want := camera(t, geometry(180, 5, 0, "NO"))
	for name, change := range map[string]func(*imaging.Geometry){
		"factor for the patient's distance": func(g *imaging.Geometry) {
			g.SourceToPatient = imaging.Number{}
			g.MagnificationFactor = imaging.Known(1.5)
		},
		"factor for the detector's distance": func(g *imaging.Geometry) {
			g.SourceToDetector = imaging.Number{}
			g.MagnificationFactor = imaging.Known(1.5)
		},
		"spacing at the isocentre": func(g *imaging.Geometry) {
			g.ImagerSpacing = imaging.Spacing{}
			g.PixelSpacing = imaging.Spacing{Row: 0.2, Column: 0.2 / 1.5, Known: true}
			g.CalibrationType = "GEOMETRY"
		},
		"distances before a factor that differs": func(g *imaging.Geometry) { g.MagnificationFactor = imaging.Known(1.2) },
		"no turns given":                         func(g *imaging.Geometry) { g.FieldOfViewRotation = imaging.Number{}; g.FieldOfViewFlip = "" },
	} {
		g := geometry(180, 5, 0, "NO")
		change(&g)
		c := camera(t, g)
		for _, p := range []r3.Vec{{X: 10, Y: 20, Z: 30}, {X: -50, Y: 60, Z: -70}} {
			a, _ := want.Project(p)
			b, _ := c.Project(p)
			if r2.Norm(r2.Sub(a, b)) > 1e-9 {
				t.Errorf("%s: %v, want %v", name, b, a)
			}
		}
	}
}

func TestFromGeometryRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*imaging.Geometry)
		kind   error
		says   string
	}{
		{"no primary angle", func(g *imaging.Geometry) { g.PrimaryAngle = imaging.Number{} }, imaging.ErrBadInput, "(0018,1510)"},
		{"no secondary angle", func(g *imaging.Geometry) { g.SecondaryAngle = imaging.Number{} }, imaging.ErrBadInput, "(0018,1511)"},
		{"secondary out of range", func(g *imaging.Geometry) { g.SecondaryAngle.Value = 91 }, imaging.ErrBadInput, "(0018,1511)"},
		{"primary not a number", func(g *imaging.Geometry) { g.PrimaryAngle.Value = math.NaN() }, imaging.ErrBadInput, "(0018,1510)"},
		{"no detector distance", func(g *imaging.Geometry) { g.SourceToDetector = imaging.Number{} }, imaging.ErrNoScale, "(0018,1110)"},
		{"no patient distance", func(g *imaging.Geometry) { g.SourceToPatient = imaging.Number{} }, imaging.ErrNoScale, "(0018,1111)"},
		{"zero distance", func(g *imaging.Geometry) { g.SourceToDetector.Value = 0 }, imaging.ErrNoScale, "(0018,1110)"},
		{"detector before the patient", func(g *imaging.Geometry) { g.SourceToPatient.Value = 1300 }, imaging.ErrBadInput, "(0018,1111)"},
		{"no spacing", func(g *imaging.Geometry) { g.ImagerSpacing = imaging.Spacing{} }, imaging.ErrNoScale, "(0018,1164)"},
		{"spacing of no known plane", func(g *imaging.Geometry) {
			g.ImagerSpacing = imaging.Spacing{}
			g.PixelSpacing = imaging.Spacing{Row: 0.2, Column: 0.2, Known: true}
		}, imaging.ErrNoScale, "10.7.1.1"},
		{"odd turn", func(g *imaging.Geometry) { g.FieldOfViewRotation.Value = 30 }, imaging.ErrBadInput, "(0018,7032)"},
		{"odd flip", func(g *imaging.Geometry) { g.FieldOfViewFlip = "MAYBE" }, imaging.ErrBadInput, "(0018,7034)"},
		{"no size", func(g *imaging.Geometry) { g.Rows = 0 }, imaging.ErrBadInput, "Rows"},
	} {
		g := geometry(0, 0, 0, "NO")
		c.change(&g)
		_, err := FromGeometry(g)
		if !errors.Is(err, c.kind) || !strings.Contains(fmt.Sprint(err), c.says) {
			t.Errorf("%s: got %v, want %v naming %s", c.name, err, c.kind, c.says)
		}
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: more than one line: %v", c.name, err)
		}
	}
}
