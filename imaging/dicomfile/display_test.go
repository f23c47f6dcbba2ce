package dicomfile

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"leadline/imaging"
)

// displayed is what testdata/display.py has made, and pydicom's reading of it.
type displayed struct {
	Overlays []struct {
		Name   string
		Frames int
		Planes []struct {
			Group         uint16
			Frames        int
			Rows, Columns int
			First         int // frame; 0: over all; -1: each frame its own
			Top, Left     int
			Type, Label   string
			Bits          string
		}
	}
	Colours []struct {
		Name                  string
		Frames, Rows, Columns int
	}
}

func displays(t *testing.T) (dir string, out displayed) {
	t.Helper()
	dir, _ = fixtures(t)
	data, err := os.ReadFile(filepath.Join(dir, "display.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return dir, out
}

// Overlays as pydicom's overlay_array has them: packed bits of odd sizes, off
// the frame's corner, of several frames that do not begin on a byte, and in the
// retired form in bits beside the samples; in every syntax, words of big endian
// among them.
func TestOverlays(t *testing.T) {
	dir, all := displays(t)
	for _, c := range all.Overlays {
		for syntax, option := range syntaxes {
			path := filepath.Join(t.TempDir(), "image.dcm")
			convert(t, filepath.Join(dir, c.Name+".dcm"), path, option)
			f, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			if len(f.Header.Notes) != 0 {
				t.Errorf("%s %s: notes %q", c.Name, syntax, f.Header.Notes)
			}
			for n := c.Frames; n >= 1; n-- {
				fr, err := f.Frame(n, n)
				if err != nil {
					t.Fatal(err)
				}
				shown := map[uint16]imaging.Overlay{}
				for _, o := range fr.Overlays {
					shown[o.Group] = o
				}
				due := 0
				for _, p := range c.Planes {
					i := 0
					switch {
					case p.First < 0:
						i = n - 1
					case p.First > 0:
						i = n - p.First
					}
					if i < 0 || i >= p.Frames {
						continue
					}
					due++
					o, ok := shown[p.Group]
					if !ok || o.Columns != p.Columns || o.Rows != p.Rows || o.Left != p.Left || o.Top != p.Top || o.Type != p.Type || o.Label != p.Label {
						t.Errorf("%s %s, frame %d: %04X is %+v", c.Name, syntax, n, p.Group, o)
						continue
					}
					bits := p.Bits[i*p.Rows*p.Columns:]
					for y := range p.Rows {
						for x := range p.Columns {
							if got := o.At(x+o.Left, y+o.Top); got != (bits[y*p.Columns+x] == '1') {
								t.Fatalf("%s %s, frame %d, %04X at %d,%d: %v", c.Name, syntax, n, p.Group, x, y, got)
							}
						}
					}
				}
				if len(fr.Overlays) != due {
					t.Errorf("%s %s, frame %d: %d overlays, want %d", c.Name, syntax, n, len(fr.Overlays), due)
				}
			}
			// A mean has what lies over all its frames alike.
			if c.Frames > 1 {
				mean, err := f.Frame(1, c.Frames)
				if err != nil {
					t.Fatal(err)
				}
				alike := 0
				for _, p := range c.Planes {
					if p.First == 0 {
						alike++
					}
				}
				if len(mean.Overlays) != alike {
					t.Errorf("%s: a mean with %d overlays, want %d", c.Name, len(mean.Overlays), alike)
				}
			}
		}
	}
}

// The pixels that dcmtk's dcm2pnm paints white for an overlay, and no others.
func TestOverlaysAsShown(t *testing.T) {
	dir, _ := displays(t)
	path := filepath.Join(dir, "overlays-one.dcm")
	picture := func(options ...string) (gray []byte) {
		out := filepath.Join(t.TempDir(), "out.pgm")
		if msg, err := exec.Command(tool(t, "dcm2pnm"), append(options, "+Wh", "3", path, out)...).CombinedOutput(); err != nil {
			t.Fatalf("dcm2pnm: %v: %s", err, msg)
		}
		data, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return pnm(t, data, 17, 21, 1)
	}
	plain := picture("-O")
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fr, err := f.Frame(1, 1)
	if err != nil {
		t.Fatal(err)
	}
	for k, o := range fr.Overlays {
		if o.Type != "GRAPHICS" { // dcmtk does not paint a region of interest
			continue
		}
		shown := picture("+O", string(rune('1'+k)), "+Omr")
		mask := o.Mask(17, 21)
		painted := 0
		for i := range plain {
			want := plain[i]
			if mask.Pix[i] != 0 {
				want = 255
				painted++
			}
			if shown[i] != want {
				t.Fatalf("%04X: gray %d at %d,%d, want %d", o.Group, shown[i], i%17, i/17, want)
			}
		}
		if painted == 0 {
			t.Errorf("%04X paints nothing", o.Group)
		}
	}
}

// pnm are the samples of a binary PGM or PPM.
func pnm(t *testing.T, data []byte, columns, rows, samples int) []byte {
	t.Helper()
	size := columns * rows * samples
	if len(data) < size || !bytes.HasPrefix(data, []byte("P5")) && !bytes.HasPrefix(data, []byte("P6")) {
		t.Fatalf("no picture: %q", data[:min(len(data), 20)])
	}
	return data[len(data)-size:]
}

// Colours as pydicom converts them, in every syntax and in run lengths; and as
// dcmtk shows them, which rounds otherwise.
func TestColours(t *testing.T) {
	dir, all := displays(t)
	for _, c := range all.Colours {
		want := values(t, filepath.Join(dir, c.Name+".values"))
		check := func(how, path string) {
			t.Helper()
			frames, err := pictures(path)
			if err != nil {
				t.Errorf("%s %s: %v", c.Name, how, err)
				return
			}
			var got []int
			for _, fr := range frames {
				if len(fr.Samples) != c.Rows*c.Columns || len(fr.RGB) != 3*len(fr.Samples) {
					t.Fatalf("%s %s: %d samples, %d bytes", c.Name, how, len(fr.Samples), len(fr.RGB))
				}
				got = append(got, samplesOf(fr)...)
			}
			if len(got) != len(want) {
				t.Fatalf("%s %s: %d values, want %d", c.Name, how, len(got), len(want))
			}
			for i := range want {
				if got[i] != want[i] {
					t.Fatalf("%s %s: value %d is %d, want %d", c.Name, how, i, got[i], want[i])
				}
			}
		}
		source := filepath.Join(dir, c.Name+".dcm")
		for syntax, option := range syntaxes {
			path := filepath.Join(t.TempDir(), "image.dcm")
			convert(t, source, path, option)
			check(syntax, path)
		}
		if c.Name != "ybr-422" { // run lengths hold whole samples only
			path := filepath.Join(t.TempDir(), "image.dcm")
			encode(t, []string{"dcmcrle"}, source, path)
			check("in run lengths", path)
		}
		out := filepath.Join(t.TempDir(), "out.ppm")
		if msg, err := exec.Command(tool(t, "dcm2pnm"), source, out).CombinedOutput(); err != nil {
			t.Fatalf("dcm2pnm: %v: %s", err, msg)
		}
		data, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		// dcmtk centres CB and CR on 127.5, where PS3.3 C.7.6.3.1.2 has 128: up to
		// 1.772 / 2 of a gray, and a rounding.
		most := 1
		if strings.HasPrefix(c.Name, "ybr") {
			most = 2
		}
		for i, v := range pnm(t, data, c.Columns, c.Rows, 3) {
			if d := int(v) - want[i]; d < -most || d > most {
				t.Errorf("%s: dcmtk shows %d at %d, pydicom %d", c.Name, v, i, want[i])
				break
			}
		}
	}
}

// The mean of a span of colour frames, rounded, and its brightness (ITU-R
// BT.601: 0.299, 0.587, 0.114).
func TestColourMean(t *testing.T) {
	dir, _ := displays(t)
	want := values(t, filepath.Join(dir, "rgb.values"))
	f, err := Open(filepath.Join(dir, "rgb.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	mean, err := f.Frame(1, 2)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range mean.RGB {
		if w := (want[i] + want[len(want)/2+i] + 1) / 2; int(v) != w {
			t.Fatalf("value %d is %d, want %d", i, v, w)
		}
	}
	one, err := f.Frame(1, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range []uint16{0, 255, 76, 150, 29} { // black, white, red, green, blue: by hand
		if one.Samples[i] != w {
			t.Errorf("brightness %d of pixel %d, want %d", one.Samples[i], i, w)
		}
	}
}

// What cannot be shown of an overlay or of colours is refused or left out, with
// words that say why.
func TestOddDisplay(t *testing.T) {
	dir, _ := displays(t)
	for _, c := range []struct {
		file   string
		change []string
		says   string
		refuse bool
	}{
		{"overlays-one", []string{"-m", "(6000,0010)=4000"}, "bytes where", false},
		{"overlays-one", []string{"-m", "(6000,0011)=0"}, "the overlay is not shown", false},
		{"overlays-one", []string{"-e", "(6000,3000)"}, "no bits are there", false},
		{"overlays-one", []string{"-m", "(601e,0015)=0"}, "0 frames", false},
		{"overlays-embedded", []string{"-m", "(6000,0102)=5"}, "bit 5 of the samples holds no overlay", false},
		{"overlays-embedded", []string{"-m", "(6000,0102)=16"}, "bit 16", false},
		{"overlays-embedded", []string{"-m", "(6000,0010)=5"}, "7 by 5 pixels", false},
		{"rgb", []string{"-m", "(0028,0004)=HSV"}, "of a kind that is not read", true},
		{"rgb", []string{"-m", "(0028,0002)=4"}, "4 samples", true},
		{"rgb", []string{"-m", "(0028,0006)=2"}, "Planar Configuration", true},
		{"rgb", []string{"-m", "(0028,0103)=1"}, "8 of 8 bits", true},
		{"rgb", []string{"-m", "(0028,0010)=400"}, "one frame of 14 by 400 needs 16800", true},
		{"palette8", []string{"-e", "(0028,1201)"}, "no palette", true},
		{"palette8", []string{"-e", "(0028,1102)"}, "no palette", true},
		{"palette8", []string{"-m", `(0028,1103)=9\0\8`}, "does not hold together", true},
		{"palette16", []string{"-m", `(0028,1101)=0\0\16`, "-m", `(0028,1102)=0\0\16`, "-m", `(0028,1103)=0\0\16`}, "cut short", true},
		{"palette8", []string{"-e", "(0028,1201)", "-i", "(0028,1221)=1"}, "in segments", true},
	} {
		path := filepath.Join(t.TempDir(), "image.dcm")
		convert(t, filepath.Join(dir, c.file+".dcm"), path, "+te")
		modify(t, path, c.change...)
		f, err := Open(path)
		if c.refuse {
			if err == nil {
				f.Close()
				t.Errorf("%s %v: it was taken", c.file, c.change)
				continue
			}
			oneLine(t, c.file, err)
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s %v: %v", c.file, c.change, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s %v: %v", c.file, c.change, err)
			continue
		}
		if !strings.Contains(strings.Join(f.Header.Notes, "\n"), c.says) {
			t.Errorf("%s %v: notes %q", c.file, c.change, f.Header.Notes)
		}
		if _, err := f.Frame(1, 1); err != nil {
			t.Errorf("%s %v: %v", c.file, c.change, err)
		}
		f.Close()
	}
}
