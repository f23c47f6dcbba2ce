package window

import (
	_ "embed"
	"image"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/imaging"
	"leadline/imaging/grayscale"
	"leadline/measure/mark"
	"leadline/viewer/desk"
)

// The shader looks each 16-bit sample up in a table of 65536 grays.
//
//go:embed film.kage
var filmShader []byte

// film is one pane's frame on the graphics card: its samples as they are
// stored, the table of grays of the window in use, and the gray picture made of
// both, which is drawn with the usual filters till the window changes.
type film struct {
	ref     mark.FrameRef
	err     error
	frame   *imaging.Frame
	gray    *grayscale.Map
	windows []imaging.Window
	auto    imaging.Window

	samples *ebiten.Image
	table   *ebiten.Image
	picture *ebiten.Image
	shader  *ebiten.Shader

	window imaging.Window // the one picture was made with
	made   bool
}

// loadFilm decodes a frame; it may run outside the drawing goroutine.
func loadFilm(d *desk.Desk, ref mark.FrameRef) *film {
	f := &film{ref: ref}
	f.frame, f.err = d.Frame(ref)
	if f.err != nil {
		return f
	}
	if f.gray, f.err = grayscale.New(f.frame.Header); f.err != nil {
		return f
	}
	f.windows = f.gray.Windows()
	f.auto = grayscale.Auto(f.frame, f.gray)
	if f.auto.Explanation == "" {
		f.auto.Explanation = "by histogram"
	}
	f.windows = append(f.windows, f.auto)
	return f
}

// upload puts the samples on the graphics card, high byte in red, low in green.
func (f *film) upload(shader *ebiten.Shader) {
	w, h := f.frame.Columns, f.frame.Rows
	own := &ebiten.NewImageOptions{Unmanaged: true}
	f.samples = ebiten.NewImageWithOptions(image.Rect(0, 0, w, h), own)
	pix := make([]byte, 4*w*h)
	for i, s := range f.frame.Samples {
		pix[4*i], pix[4*i+1], pix[4*i+3] = byte(s>>8), byte(s), 0xFF
	}
	f.samples.WritePixels(pix)
	f.table = ebiten.NewImageWithOptions(image.Rect(0, 0, 256, 256), own)
	f.picture = ebiten.NewImageWithOptions(image.Rect(0, 0, w, h), own)
	f.shader = shader
}

// show makes the picture for a window where it is not the one in use.
func (f *film) show(w imaging.Window) bool {
	if f.made && w == f.window {
		return false
	}
	table := f.gray.Table(w)
	pix := make([]byte, 4*256*256)
	for i := range 256 * 256 {
		g := table[min(i, len(table)-1)]
		pix[4*i], pix[4*i+1], pix[4*i+2], pix[4*i+3] = g, g, g, 0xFF
	}
	f.table.WritePixels(pix)
	x, y := float32(f.frame.Columns), float32(f.frame.Rows)
	corners := []ebiten.Vertex{{}, {DstX: x, SrcX: x}, {DstY: y, SrcY: y}, {DstX: x, DstY: y, SrcX: x, SrcY: y}}
	f.picture.DrawTrianglesShader(corners, []uint16{0, 1, 2, 1, 2, 3}, f.shader,
		&ebiten.DrawTrianglesShaderOptions{Images: [4]*ebiten.Image{f.samples, f.table}, Blend: ebiten.BlendCopy})
	f.window, f.made = w, true
	return true
}

// first is the window a frame is shown with at first, as in a picture.
func (f *film) first() imaging.Window { return grayscale.First(f.frame, f.gray) }

func (f *film) free() {
	for _, i := range []*ebiten.Image{f.samples, f.table, f.picture} {
		if i != nil {
			i.Deallocate()
		}
	}
}

// span is the range of values most of the frame's samples lie in: what a drag
// across the pane runs through.
func (f *film) span() float64 {
	if f.auto.Width > 1 {
		return f.auto.Width
	}
	return float64(int(1) << f.frame.Header.BitsStored)
}
