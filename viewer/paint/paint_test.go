package paint

import (
	"bytes"
	"encoding/binary"
	"flag"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	resample "github.com/disintegration/imaging"
	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/placement"
	"leadline/viewer/internal/specimen"
	"leadline/viewer/scene"
)

var update = flag.Bool("update", false, "write the golden pictures anew")

var white = color.NRGBA{255, 255, 255, 255}

// ink paints one layer on black and sums the coverage.
func ink(w, h int, l scene.Layer) (*image.RGBA, float64) {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	l.Clip = scene.Box(0, 0, float64(w), float64(h))
	Draw(img, scene.Drawing{Layers: []scene.Layer{l}})
	sum := 0.0
	for i := 0; i < len(img.Pix); i += 4 {
		sum += float64(img.Pix[i]) / 255
	}
	return img, sum
}

// The area of a stroke with round caps is length times width and a disc; of a
// closed circle, the ring between two radii (plane geometry).
func TestStrokesCoverTheirArea(t *testing.T) {
	var circle []r2.Vec
	for i := range 200 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 200)
		circle = append(circle, r2.Vec{X: 100 + 60*c, Y: 100 + 60*s})
	}
	for _, c := range []struct {
		name string
		line scene.Line
		want float64
	}{
		{"slanted", scene.Line{Points: []r2.Vec{{X: 20.3, Y: 30.7}, {X: 170.1, Y: 140.2}}, Width: 3}, math.Hypot(149.8, 109.5)*3 + math.Pi*1.5*1.5},
		{"thin", scene.Line{Points: []r2.Vec{{X: 20, Y: 30.5}, {X: 180, Y: 30.5}}, Width: 1}, 160 + math.Pi/4},
		{"circle", scene.Line{Points: circle, Closed: true, Width: 5}, math.Pi * (62.5*62.5 - 57.5*57.5)},
		{"dot", scene.Line{Points: []r2.Vec{{X: 50, Y: 50}}, Width: 40}, math.Pi * 400},
	} {
		c.line.Color = white
		if _, got := ink(200, 200, scene.Layer{Lines: []scene.Line{c.line}}); math.Abs(got-c.want) > 0.02*c.want {
			t.Errorf("%s: covers %.1f px, want %.1f", c.name, got, c.want)
		}
	}
	square := []r2.Vec{{X: 10.5, Y: 10}, {X: 30, Y: 10}, {X: 30, Y: 20.25}, {X: 10.5, Y: 20.25}}
	if _, got := ink(50, 50, scene.Layer{Fills: []scene.Fill{{Points: square, Color: white}}}); math.Abs(got-19.5*10.25) > 0.5 {
		t.Errorf("a filled rectangle covers %.2f, want %.2f", got, 19.5*10.25)
	}
}

func TestNothingOutsideTheClip(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 40, 40))
	Draw(img, scene.Drawing{Layers: []scene.Layer{{
		Clip:  scene.Box(10, 10, 20, 20),
		Lines: []scene.Line{{Points: []r2.Vec{{X: -1e9, Y: 20}, {X: 1e9, Y: 20}}, Width: 60, Color: white}, {Points: nil, Width: 3, Color: white}},
		Texts: []scene.Text{{X: 5, Y: 30, Words: "WWWW", Size: 20, Color: white, Edge: 3}},
	}}})
	for y := range 40 {
		for x := range 40 {
			in := x >= 10 && x < 30 && y >= 10 && y < 30
			if a := img.RGBAAt(x, y).A; !in && a != 0 {
				t.Fatalf("ink at %d,%d, outside the clip", x, y)
			}
		}
	}
}

// Letters against the font library's own drawer: the same ink in the same
// place.
func TestLettersAgainstTheFontLibrary(t *testing.T) {
	const words, size, x, y = "11 ± 2 mm, Ünten − 72°", 24.0, 12, 60
	for _, bold := range []bool{false, true} {
		got, sum := ink(320, 90, scene.Layer{Texts: []scene.Text{{X: x, Y: y, Words: words, Size: size, Bold: bold, Color: white}}})
		f, err := opentype.Parse(scene.FontData(bold))
		if err != nil {
			t.Fatal(err)
		}
		face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			t.Fatal(err)
		}
		want := image.NewRGBA(got.Bounds())
		d := font.Drawer{Dst: want, Src: image.White, Face: face, Dot: fixed.P(x, y)}
		d.DrawString(words)
		wantSum, off := 0.0, 0.0
		for i := 0; i < len(want.Pix); i += 4 {
			wantSum += float64(want.Pix[i]) / 255
			off += math.Abs(float64(want.Pix[i])-float64(got.Pix[i])) / 255
		}
		if math.Abs(sum-wantSum) > 0.02*wantSum || off > 0.15*wantSum {
			t.Errorf("bold %v: ink %.1f, the library's %.1f, %.1f of it elsewhere", bold, sum, wantSum, off)
		}
		// The width words are laid out by is the library's.
		if w, lib := scene.Advance(words, size, bold), float64(d.Dot.X-fixed.I(x))/64; math.Abs(w-lib) > 0.5 {
			t.Errorf("bold %v: advance %.2f, the library's %.2f", bold, w, lib)
		}
	}
}

// A bright pixel must be painted where the view takes its centre, at every
// turn: picture and marks coincide, and nothing is mirrored.
func TestFilmAndMarksCoincide(t *testing.T) {
	const columns, rows = 300, 200
	spots := []image.Point{{20, 30}, {250, 40}, {60, 170}, {149, 99}}
	for _, cranial := range []imaging.Edge{imaging.Top, imaging.Right, imaging.Bottom, imaging.Left} {
		for _, spot := range spots {
			gray := image.NewGray(image.Rect(0, 0, columns, rows))
			for dy := -2; dy <= 2; dy++ {
				for dx := -2; dx <= 2; dx++ {
					gray.SetGray(spot.X+dx, spot.Y+dy, color.Gray{255})
				}
			}
			reading := placement.FilmReading{Film: placement.Film{Geometry: imaging.Geometry{Columns: columns, Rows: rows}}, Cranial: cranial}
			reading.Scale.Row, reading.Scale.Column = 1.3, 1 // oblong pixels
			s := scene.Film(reading, nil, placement.Placement{}, scene.Options{Vertex: -1})
			page := scene.NewPage(&s, 1000)
			img := image.NewRGBA(image.Rect(0, 0, page.W, page.H))
			Film(img, gray, page.View)
			var sum, sx, sy float64
			for y := range page.H {
				for x := range page.W {
					v := float64(img.RGBAAt(x, y).R)
					sum, sx, sy = sum+v, sx+v*(float64(x)+0.5), sy+v*(float64(y)+0.5)
				}
			}
			want := page.View.ToPane(r2.Vec{X: float64(spot.X) + 0.5, Y: float64(spot.Y) + 0.5})
			got := r2.Vec{X: sx / sum, Y: sy / sum}
			if d := r2.Norm(r2.Sub(got, want)); !(d < 0.6) {
				t.Errorf("cranial %s: the spot at %v is painted at %v, the marks are at %v", cranial, spot, got, want)
			}
		}
	}
}

func TestPNGHoldsPixelsAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.png")
	img := image.NewRGBA(image.Rect(0, 0, 30, 20))
	img.SetRGBA(3, 4, color.RGBA{9, 8, 7, 255})
	if err := WritePNG(path, img); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// PNG, third edition, 5.2 and 5.3: signature, then chunks of length, type,
	// data and CRC; text, time and EXIF are ancillary chunks.
	for at := 8; at < len(data); {
		n := int(binary.BigEndian.Uint32(data[at:]))
		switch kind := string(data[at+4 : at+8]); kind {
		case "IHDR", "IDAT", "IEND":
		default:
			t.Errorf("chunk %s", kind)
		}
		at += 12 + n
	}
	back, err := png.Decode(bytes.NewReader(data))
	if err != nil || back.Bounds() != img.Bounds() {
		t.Errorf("%v, %v", back.Bounds(), err)
	}
	if err := WritePNG(filepath.Join(t.TempDir(), "no", "folder", "a.png"), img); err == nil {
		t.Error("a folder that is not there was written to")
	}
}

// Pages against pictures kept beside the test, a quarter of the size, so that a
// change in what a page looks like is seen and looked at.
func TestGoldenPages(t *testing.T) {
	p := specimen.Placement()
	gray := specimen.Gray()
	before := bytes.Clone(gray.Pix)
	for i, name := range []string{"frontal", "lateral"} {
		s := scene.Film(p.Films[i], specimen.Marks(), p, scene.Options{Vertex: -1})
		got := resample.Resize(Annotated(gray, s, 1400), 350, 0, resample.Box)
		path := filepath.Join("testdata", name+".png")
		if *update {
			if err := WritePNG(path, got); err != nil {
				t.Fatal(err)
			}
		}
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		want, err := png.Decode(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		if want.Bounds() != got.Bounds() {
			t.Fatalf("%s: %v, kept %v", name, got.Bounds(), want.Bounds())
		}
		far := 0
		for y := range got.Bounds().Dy() {
			for x := range got.Bounds().Dx() {
				r, g, b, _ := want.At(x, y).RGBA()
				c := got.NRGBAAt(x, y)
				for _, d := range []int{int(r>>8) - int(c.R), int(g>>8) - int(c.G), int(b>>8) - int(c.B)} {
					if d > 12 || d < -12 {
						far++
						break
					}
				}
			}
		}
		if far > 20 {
			t.Errorf("%s: %d pixels differ from testdata/%s.png; look at both, and run with -update if the new one is right", name, far, name)
		}
	}
	if !bytes.Equal(before, gray.Pix) {
		t.Error("painting changed the film's own pixels")
	}
}

func BenchmarkAnnotated(b *testing.B) {
	p, gray := specimen.Placement(), specimen.Gray()
	s := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Vertex: -1})
	for b.Loop() {
		Annotated(gray, s, 1400)
	}
}
