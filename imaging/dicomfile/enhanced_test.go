package dicomfile

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"leadline/imaging"
)

// told is what testdata/enhanced.py gave pydicom for a frame.
type told struct {
	Primary, Secondary, Center, Width float64
	Window                            string
	Beam, Row, Column                 *float64
	Millis                            float64
}

func enhancedFiles(t *testing.T) (string, map[string][]told) {
	t.Helper()
	made, _ := fixtures(t)
	dir := t.TempDir()
	for _, name := range []string{"turning", "steady", "lacking", "long"} {
		data, err := os.ReadFile(filepath.Join(made, name+".dcm"))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name+".dcm"), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(filepath.Join(made, "enhanced.json"))
	if err != nil {
		t.Fatal(err)
	}
	var out map[string][]told
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return dir, out
}

// Each frame has what its own functional groups say, else the shared ones
// (PS3.3 C.7.6.16.1.1), in every syntax; the objects are pydicom's, and dciodvfy
// finds the groups where it looks for them.
func TestEnhanced(t *testing.T) {
	dir, frames := enhancedFiles(t)
	for _, name := range []string{"turning", "steady"} {
		path := filepath.Join(dir, name+".dcm")
		out, _ := exec.Command(tool(t, "dciodvfy"), path).CombinedOutput()
		for line := range strings.Lines(string(out)) {
			// dicom3tools of 2022 knows XA only, where an XRF object's modality is RF,
			// and both asks for and forbids the tube's current and exposure.
			if strings.HasPrefix(line, "Error") && !strings.Contains(line, "<RF> for value 1 of attribute <Modality>") &&
				!strings.Contains(line, "Module=<XAXRFAcquisition>") {
				t.Errorf("%s: dciodvfy: %s", name, line)
			}
		}
		for syntax, option := range syntaxes {
			converted := filepath.Join(t.TempDir(), "image.dcm")
			convert(t, path, converted, option)
			f, err := Open(converted)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			h := f.Header
			want := frames[name]
			if h.Frames != len(want) || len(h.Each) != len(want) {
				t.Fatalf("%s %s: %d frames, %d with attributes", name, syntax, h.Frames, len(h.Each))
			}
			kind := map[string]imaging.Kind{"turning": imaging.KindXA, "steady": imaging.KindXRF}[name]
			for n := len(want); n >= 1; n-- {
				g, w := h.Geometry(n), want[n-1]
				if g.Kind != kind || g.PrimaryAngle != imaging.Known(w.Primary) || g.SecondaryAngle != imaging.Known(w.Secondary) ||
					g.ImagerSpacing != (imaging.Spacing{Row: 0.3, Column: 0.25, Known: true}) ||
					g.SourceToPatient != imaging.Known(750) || g.SourceToDetector != imaging.Known(1000) ||
					g.FieldOfViewRotation != imaging.Known(90) || g.FieldOfViewFlip != "YES" ||
					g.PatientOrientation != [2]string{"L", "F"} || g.PatientPosition != "HFP" {
					t.Errorf("%s %s, frame %d: %+v", name, syntax, n, g)
				}
				if w.Beam == nil {
					if g.ObjectSpacing.Known || g.BeamAngle.Known {
						t.Errorf("%s %s, frame %d: an object spacing that is not there: %+v", name, syntax, n, g)
					}
				} else if g.ObjectSpacing != (imaging.Spacing{Row: *w.Row, Column: *w.Column, Known: true}) || g.BeamAngle != imaging.Known(*w.Beam) ||
					g.ObjectToTable != imaging.Known(100) || g.TableHeight != imaging.Known(200) {
					t.Errorf("%s %s, frame %d: object spacing %+v, beam %v, table %v, object %v", name, syntax, n, g.ObjectSpacing, g.BeamAngle, g.TableHeight, g.ObjectToTable)
				}
				fr, err := f.Frame(n, n)
				if err != nil {
					t.Fatal(err)
				}
				own := fr.Header
				if len(own.Windows) != 1 || own.Windows[0] != (imaging.Window{Center: w.Center, Width: w.Width, Function: imaging.Linear, Explanation: w.Window}) {
					t.Errorf("%s %s, frame %d: windows %+v", name, syntax, n, own.Windows)
				}
				if own.Base != g || own.RescaleSlope != imaging.Known(0.5) || own.RescaleIntercept != imaging.Known(-3) {
					t.Errorf("%s %s, frame %d: the frame's header is another's", name, syntax, n)
				}
				e := h.Each[n-1]
				if got := e.Time.Sub(h.Each[0].Time).Seconds() * 1000; math.Abs(got-w.Millis) > 1e-6 || e.Time.IsZero() {
					t.Errorf("%s %s, frame %d: %g ms after the first, want %g", name, syntax, n, got, w.Millis)
				}
				if e.Anatomy != "Sacrum" || e.Laterality != "U" {
					t.Errorf("%s %s, frame %d: %q %q", name, syntax, n, e.Anatomy, e.Laterality)
				}
				if fr.Value(1, 0) != ((n-1)*24+1)&0xfff {
					t.Errorf("%s %s, frame %d: another frame's samples", name, syntax, n)
				}
			}
			turning := math.Acos(math.Cos(5*math.Pi/180)*0) * 180 / math.Pi // primary 0 to -90, secondary 5: a right angle
			if name == "steady" {
				turning = 0
			}
			if got := h.Turning(1, h.Frames); math.Abs(got-turning) > 1e-9 {
				t.Errorf("%s: turns by %g degrees, want %g", name, got, turning)
			}
			if said := strings.Contains(strings.Join(h.Notes, "\n"), "the beam turns"); said != (name == "turning") || len(h.Notes) > 1 {
				t.Errorf("%s %s: notes %q", name, syntax, h.Notes)
			}
			if d, source := h.Interval(1); d.Milliseconds() != 83 || source != "Recommended Display Frame Rate" {
				t.Errorf("%s: %v from %s", name, d, source)
			}
		}
	}
}

// Items that do not match the frames say nothing of any frame; what is shared
// still holds.
func TestEnhancedLacking(t *testing.T) {
	dir, _ := enhancedFiles(t)
	f, err := Open(filepath.Join(dir, "lacking.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for n := 1; n <= 2; n++ {
		if g := f.Header.Geometry(n); g.PrimaryAngle != imaging.Known(180) || g.ImagerSpacing.Row != 0.3 {
			t.Errorf("frame %d: %+v", n, g)
		}
	}
	if !strings.Contains(strings.Join(f.Header.Notes, "\n"), "1 items for 2 frames") {
		t.Errorf("notes %q", f.Header.Notes)
	}
}

// A run of 1500 frames, each with its own groups, opens in little memory.
func TestEnhancedLong(t *testing.T) {
	dir, _ := enhancedFiles(t)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	f, err := Open(filepath.Join(dir, "long.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	runtime.GC()
	runtime.ReadMemStats(&after)
	if g := f.Header.Geometry(1500); g.PrimaryAngle != imaging.Known(14.99) {
		t.Errorf("%+v", g.PrimaryAngle)
	}
	if kept := int64(after.HeapAlloc) - int64(before.HeapAlloc); kept > 8<<20 {
		t.Errorf("%d bytes are kept", kept)
	}
	if cost := after.TotalAlloc - before.TotalAlloc; cost > 32<<20 {
		t.Errorf("%d bytes were used", cost)
	}
}

// The standard's attributes outside the groups count where a group has none of
// them, and a group's own count before the shared ones.
func TestEnhancedPrecedence(t *testing.T) {
	dir, _ := enhancedFiles(t)
	path := filepath.Join(dir, "steady.dcm")
	modify(t, path, "-i", "(5200,9230)[1].(0018,9405)[0].(0018,1510)=170", "-e", "(5200,9229)[0].(0028,9443)[0].(0018,1164)", "-i", `(0018,1164)=0.4\0.4`)
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	one, two := f.Header.Geometry(1), f.Header.Geometry(2)
	if one.PrimaryAngle != imaging.Known(180) || two.PrimaryAngle != imaging.Known(170) || two.SecondaryAngle != imaging.Known(-10) {
		t.Errorf("angles %v, %v and %v", one.PrimaryAngle, two.PrimaryAngle, two.SecondaryAngle)
	}
	if one.ImagerSpacing.Row != 0.4 {
		t.Errorf("imager spacing %+v", one.ImagerSpacing)
	}
}
