package phantom

import (
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"testing"

	"leadline/imaging/dicomfile"
)

// madeIn is the folder of the case, once made.
var madeIn string

// made is the practice case, written once for all tests of this package.
var made = sync.OnceValues(func() (practice, error) {
	dir, err := os.MkdirTemp("", "practice")
	if err != nil {
		return practice{}, err
	}
	p := practice{dir: dir}
	madeIn = dir
	last := -1
	p.truth, err = Practice(dir, func(done, total int) {
		if done < 0 || done > total || total != 100 {
			p.badProgress = true
		}
		last = done
	})
	p.badProgress = p.badProgress || last != 100
	return p, err
})

type practice struct {
	dir         string
	truth       Truth
	badProgress bool
}

func TestMain(m *testing.M) {
	code := m.Run()
	if madeIn != "" {
		os.RemoveAll(madeIn)
	}
	os.Exit(code)
}

func practiceCase(t *testing.T) practice {
	t.Helper()
	p, err := made()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// tool finds a reference program, or skips the test where it is absent.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is required: %v", name, err)
		}
		t.Skipf("%s is not here", name)
	}
	return path
}

// dciodvfy (dicom3tools) checks the films against the X-Ray Angiographic IOD,
// PS3.3 A.14.
func TestFilmsAreValidXA(t *testing.T) {
	dciodvfy := tool(t, "dciodvfy")
	p := practiceCase(t)
	for _, f := range p.truth.Films {
		out, err := exec.Command(dciodvfy, filepath.Join(p.dir, f.File)).CombinedOutput()
		if err != nil || !strings.Contains(string(out), "XAImage") || strings.Contains(string(out), "Error") {
			t.Errorf("%s: %v\n%s", f.File, err, out)
		}
	}
}

// dcmdump (dcmtk) reads back what the header says about geometry.
func TestHeaderSaysTheGeometry(t *testing.T) {
	dcmdump := tool(t, "dcmdump")
	p := practiceCase(t)
	for file, want := range map[string][]string{
		"frontal.dcm": {`PositionerPrimaryAngle`, `[180]`, `PatientOrientation`, `[R\F]`},
		"lateral.dcm": {`PositionerPrimaryAngle`, `[90]`, `PatientOrientation`, `[P\F]`},
	} {
		out, err := exec.Command(dcmdump, filepath.Join(p.dir, file)).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", file, err, out)
		}
		lines := strings.Split(string(out), "\n")
		has := func(name, value string) bool {
			for _, l := range lines {
				if strings.Contains(l, " "+name) && strings.Contains(l, value) {
					return true
				}
			}
			return false
		}
		want = append(want, "DistanceSourceToDetector", "[1000]", "DistanceSourceToPatient", "[700]",
			"ImagerPixelSpacing", `[0.225\0.225]`, "PatientPosition", "[HFP]", "FieldOfViewHorizontalFlip", "[NO]",
			"FieldOfViewRotation", "[0]", "PositionerSecondaryAngle", "[0]", "BitsStored", " 12 ", "PatientName", "[PRACTICE^CASE]")
		for i := 0; i < len(want); i += 2 {
			if !has(want[i], want[i+1]) {
				t.Errorf("%s: no %s %s", file, want[i], want[i+1])
			}
		}
	}
}

func TestProgressRunsToTheEnd(t *testing.T) {
	if practiceCase(t).badProgress {
		t.Error("progress left 0 to 100 or did not end at 100")
	}
}

// A place that cannot be written to is refused before anything is computed.
func TestPracticeRefusesAPlaceItCannotWrite(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a-file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	started := false
	_, err := Practice(filepath.Join(file, "case"), func(int, int) { started = true })
	if err == nil || started || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), file) {
		t.Errorf("got %v, computing begun: %v", err, started)
	}
}

func TestTruthRoundTrips(t *testing.T) {
	p := practiceCase(t)
	got, err := ReadTruth(filepath.Join(p.dir, TruthName))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, p.truth) {
		t.Error("truth.json does not hold what Practice returned")
	}
	if _, err := ReadTruth(filepath.Join(p.dir, MarksName)); err == nil {
		t.Error("marks.csv was read as truth")
	}
}

// pinhole is an oracle of its own for the two films: similar triangles, worked
// out by hand for a detector behind the patient (180) and at the patient's left
// (+90). Source 700 mm from the isocentre, detector at 1000 mm, pixels of 0.225
// mm, centre 512, 512.
func pinhole(file string, p Point) (x, y float64) {
	across, depth := -p[0], 700+p[1] // from behind: the patient's left is on the left
	if file == "lateral.dcm" {
		across, depth = p[1], 700+p[0] // from the left: the back is on the right
	}
	m := 1000 / depth / 0.225
	return 512 + m*across, 512 - m*p[2]
}

func TestTruthOnFilmsByHand(t *testing.T) {
	p := practiceCase(t)
	for _, f := range p.truth.Films {
		seen := 0
		for _, c := range f.Curves {
			if c.Structure != "needle" {
				continue
			}
			seen++
			for _, n := range p.truth.Needles {
				if n.Object != c.Object {
					continue
				}
				for i, q := range []Point{n.Hub, n.Entry, n.Exit, n.Tip} {
					x, y := pinhole(f.File, q)
					if math.Hypot(x-c.Points[i][0], y-c.Points[i][1]) > 1e-9 {
						t.Errorf("%s %s point %d: %v, by hand %g, %g", f.File, n.Object, i, c.Points[i], x, y)
					}
				}
			}
		}
		if seen != 2 {
			t.Errorf("%s: %d needles", f.File, seen)
		}
	}
}

// film gives the stored value of a film between its pixels, at SR coordinates.
func film(t *testing.T, p practice, name string) func(x, y float64) float64 {
	t.Helper()
	f, err := dicomfile.Open(filepath.Join(p.dir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	frame, err := f.Frame(1, 1)
	if err != nil {
		t.Fatal(err)
	}
	return func(x, y float64) float64 {
		x, y = x-0.5, y-0.5 // a sample stands at its pixel's centre
		i, j := int(math.Floor(x)), int(math.Floor(y))
		fx, fy := x-float64(i), y-float64(j)
		v := func(i, j int) float64 { return float64(frame.Value(i, j)) }
		return (v(i, j)*(1-fx)+v(i+1, j)*fx)*(1-fy) + (v(i, j+1)*(1-fx)+v(i+1, j+1)*fx)*fy
	}
}

// What a reader marks is what the truth means: on the lateral film the edge of
// the anterior cortex, where the picture darkens fastest, lies within 3 pixels (0.5
// mm) of the midline's ventral margin. The cortex to both sides of the midline is
// seen too, magnified by up to 3.5 % more or less, so they cannot agree to the
// pixel away from the film's centre.
func TestVentralCortexIsSeenWhereTruthSays(t *testing.T) {
	p := practiceCase(t)
	at := film(t, p, "lateral.dcm")
	for _, c := range p.truth.Curves {
		if c.Structure != "ventral-margin" {
			continue
		}
		for i := 8; i < len(c.Points)-4; i += 4 {
			x, y := pinhole("lateral.dcm", c.Points[i])
			ax, ay := pinhole("lateral.dcm", c.Points[i-1])
			bx, by := pinhole("lateral.dcm", c.Points[i+1])
			l := math.Hypot(bx-ax, by-ay)
			nx, ny := (by-ay)/l, -(bx-ax)/l // of the way from head to foot, to the right: the back
			near := false
			for _, n := range p.truth.Needles {
				tx, ty := pinhole("lateral.dcm", n.Exit)
				near = near || math.Hypot(tx-x, ty-y) < 45
			}
			if near || math.Abs(c.Points[i][2]) < 6 { // a shaft or a notch's rim crosses here
				continue
			}
			value := func(off float64) float64 {
				sum := 0.0
				for along := -8.0; along <= 8; along++ {
					sum += at(x+off*nx-along*ny, y+off*ny+along*nx)
				}
				return sum / 17
			}
			best, where := 0.0, 0.0
			for off := -20.0; off <= 20; off += 0.5 {
				if drop := value(off-1.5) - value(off+1.5); drop > best {
					best, where = drop, off
				}
			}
			if math.Abs(where) > 3 || best < 100 {
				t.Errorf("%d mm from the promontory: edge %.1f px dorsal of the truth, drop %.0f", i, where, best)
			}
		}
	}
}

// The shadow of each shaft lies where similar triangles put it: across the shaft
// the darkest place of the picture, averaged over 31 pixels along it, is within
// half a pixel of the axis.
func TestShaftsLieWhereTruthSays(t *testing.T) {
	p := practiceCase(t)
	for _, name := range []string{"frontal.dcm", "lateral.dcm"} {
		at := film(t, p, name)
		for _, n := range p.truth.Needles {
			for _, share := range []float64{0.15, 0.3} {
				var q Point
				for k := range q {
					q[k] = n.Tip[k] + share*(n.Hub[k]-n.Tip[k])
				}
				cx, cy := pinhole(name, q)
				tx, ty := pinhole(name, n.Tip)
				l := math.Hypot(cx-tx, cy-ty)
				ax, ay := (cx-tx)/l, (cy-ty)/l
				// Centroid of darkness below the shoulders, 5 px to either side:
				// the other needle stays out of reach.
				profile := make([]float64, 0, 23)
				for off := -5.5; off <= 5.5; off += 0.5 {
					sum := 0.0
					for along := -15.0; along <= 15; along++ {
						sum += at(cx+along*ax-off*ay, cy+along*ay+off*ax)
					}
					profile = append(profile, sum/31)
				}
				shoulder := (profile[0] + profile[len(profile)-1]) / 2
				weight, mean := 0.0, 0.0
				for i, v := range profile {
					if d := shoulder - v; d > 0.3*(shoulder-minimum(profile)) {
						weight += d
						mean += d * (-5.5 + 0.5*float64(i))
					}
				}
				if shoulder-minimum(profile) < 150 {
					t.Errorf("%s %s at %g: the shaft does not stand out: %.0f", name, n.Object, share, profile)
					continue
				}
				if off := mean / weight; math.Abs(off) > 0.5 {
					t.Errorf("%s %s at %g of its length: shadow %.2f px off the axis", name, n.Object, share, off)
				}
			}
		}
	}
}

func minimum(v []float64) float64 {
	m := v[0]
	for _, x := range v {
		m = math.Min(m, x)
	}
	return m
}

// The observer's marks: every structure that measuring wants, on its view,
// inside the image, and off the truth by the stated scatter.
func TestMarksAreCompleteAndNearTruth(t *testing.T) {
	p := practiceCase(t)
	file, err := os.Open(filepath.Join(p.dir, MarksName))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != "instance,frame,structure,level,side,object,index,x,y,origin,detail" {
		t.Fatalf("header %s", got)
	}
	count := map[string]int{}
	var squares, n float64
	for _, r := range rows[1:] {
		x, errX := strconv.ParseFloat(r[7], 64)
		y, errY := strconv.ParseFloat(r[8], 64)
		if errX != nil || errY != nil || x < 0 || y < 0 || x > 1024 || y > 1024 {
			t.Fatalf("row %v", r)
		}
		if math.Hypot(x-512, y-512)*0.225 > 114 {
			t.Errorf("marked outside the round field: %v", r)
		}
		count[strings.Join([]string{r[0], r[2], r[3], r[4], r[5], r[10]}, " ")]++
		if r[2] == "needle" && r[6] == "6" { // the tip
			for _, needle := range p.truth.Needles {
				if needle.Object == r[5] {
					hx, hy := pinhole(r[0], needle.Tip)
					squares += (x-hx)*(x-hx) + (y-hy)*(y-hy)
					n += 2
				}
			}
		}
		if r[2] == "ventral-margin" {
			// The margin lies in the midline: 1000/700/0.225 pixels a millimetre.
			best := math.Inf(1)
			for _, c := range p.truth.Curves {
				if c.Structure != "ventral-margin" {
					continue
				}
				for i := 1; i < len(c.Points); i++ {
					ax, ay := pinhole(r[0], c.Points[i-1])
					bx, by := pinhole(r[0], c.Points[i])
					f := ((x-ax)*(bx-ax) + (y-ay)*(by-ay)) / ((bx-ax)*(bx-ax) + (by-ay)*(by-ay))
					f = math.Max(0, math.Min(1, f))
					best = math.Min(best, math.Hypot(x-ax-f*(bx-ax), y-ay-f*(by-ay)))
				}
			}
			squares += best * best
			n++
		}
	}
	// 13 distances and 4 tips of 2 coordinates: the standard deviation of the
	// estimate is 0.7 / sqrt(2 * 21), so 0.33 is 3 of them.
	if sd := math.Sqrt(squares / n); math.Abs(sd-p.truth.MarkScatter) > 0.33 || n != 21 {
		t.Errorf("scatter %.2f px over %g, stated %.2f", sd, n, p.truth.MarkScatter)
	}
	for key, want := range map[string]int{
		"lateral.dcm ventral-margin    ":       13,
		"lateral.dcm dorsal-margin    ":        11,
		"lateral.dcm skin-line    ":            9,
		"lateral.dcm fusion-line    S2/S3":     3,
		"lateral.dcm fusion-line    S3/S4":     3,
		"lateral.dcm promontory    ":           1,
		"lateral.dcm coccyx-tip    ":           1,
		"lateral.dcm sciatic-notch    first":   1,
		"lateral.dcm sciatic-notch    second":  1,
		"lateral.dcm needle  left N1 ":         7,
		"lateral.dcm needle  right N2 ":        7,
		"frontal.dcm needle  left N1 ":         7,
		"frontal.dcm needle  right N2 ":        7,
		"frontal.dcm midline    ":              5,
		"frontal.dcm si-line    ":              2,
		"frontal.dcm medial-line  left  ":      4,
		"frontal.dcm medial-line  right  ":     4,
		"frontal.dcm foramen S2 left  dorsal":  12,
		"frontal.dcm foramen S3 left  dorsal":  12,
		"frontal.dcm foramen S3 right  dorsal": 12,
		"frontal.dcm foramen S4 right  dorsal": 12,
	} {
		if count[key] != want {
			t.Errorf("%q: %d points, want %d", key, count[key], want)
		}
	}
}
