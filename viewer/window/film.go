package window

import (
	_ "embed"
	"image"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/imaging"
	"leadline/imaging/grayscale"
	"leadline/measure/mark"
)

// The shader looks each 16-bit sample up in a table of 65536 grays.
//
//go:embed film.kage
var filmShader []byte

// film is one pane's frame on the graphics card: its samples as they are
// stored, the table of grays of the window in use, and the gray picture made of
// both, which is drawn with the usual filters till the window changes. A frame
// in colour is a picture at once.
type film struct {
	ref     mark.FrameRef
	err     error
	frame   *imaging.Frame
	gray    *grayscale.Map
	windows []imaging.Window
	auto    imaging.Window
	turned  int // counts the frames of its run it has shown

	samples *ebiten.Image
	table   *ebiten.Image
	picture *ebiten.Image
	overlay *ebiten.Image // graphics over the frame; nil: none
	shader  *ebiten.Shader
	pix     []byte // reused for every frame

	window imaging.Window // the one picture was made with
	made   bool
}

// newFilm puts a frame on the graphics card, or keeps why there is none.
func newFilm(ref mark.FrameRef, frame *imaging.Frame, err error, shader *ebiten.Shader) *film {
	f := &film{ref: ref, err: err, shader: shader}
	if err != nil {
		return f
	}
	f.frame = frame
	if f.err = f.read(); f.err != nil {
		return f
	}
	f.auto = grayscale.Auto(frame, f.gray)
	if f.auto.Explanation == "" {
		f.auto.Explanation = "by histogram"
	}
	f.windows = append(f.windows, f.auto)
	w, h := frame.Columns, frame.Rows
	own := &ebiten.NewImageOptions{Unmanaged: true}
	f.picture = ebiten.NewImageWithOptions(image.Rect(0, 0, w, h), own)
	f.pix = make([]byte, 4*w*h)
	if frame.RGB == nil {
		f.samples = ebiten.NewImageWithOptions(image.Rect(0, 0, w, h), own)
		f.table = ebiten.NewImageWithOptions(image.Rect(0, 0, 256, 256), own)
	}
	f.upload()
	return f
}

// read makes ready how the frame's values are shown.
func (f *film) read() (err error) {
	if f.gray, err = grayscale.New(f.frame.Header.Of(f.frame.First)); err != nil {
		return err
	}
	f.windows = f.gray.Windows()
	return nil
}

// turn shows another frame of the same run in place of this one; false where
// that cannot be.
func (f *film) turn(ref mark.FrameRef, frame *imaging.Frame, err error) bool {
	if err != nil || f.err != nil || ref.Instance != f.ref.Instance ||
		frame.Columns != f.frame.Columns || frame.Rows != f.frame.Rows || (frame.RGB == nil) != (f.frame.RGB == nil) {
		return false
	}
	f.ref, f.frame = ref, frame
	if len(frame.Header.Each) > 0 { // each frame may have values of its own
		if f.err = f.read(); f.err != nil {
			return true
		}
		f.windows = append(f.windows, f.auto)
	}
	f.turned++
	f.upload()
	return true
}

// upload puts the samples on the graphics card, high byte in red, low in green,
// or the colours as they are.
func (f *film) upload() {
	pix := f.pix
	if rgb := f.frame.RGB; rgb != nil {
		for i := range min(len(rgb)/3, len(pix)/4) {
			pix[4*i], pix[4*i+1], pix[4*i+2], pix[4*i+3] = rgb[3*i], rgb[3*i+1], rgb[3*i+2], 0xFF
		}
		f.picture.WritePixels(pix)
	} else {
		for i, s := range f.frame.Samples {
			p := pix[4*i : 4*i+4 : 4*i+4]
			p[0], p[1], p[2], p[3] = byte(s>>8), byte(s), 0, 0xFF
		}
		f.samples.WritePixels(pix)
	}
	f.made = f.frame.RGB != nil
	f.lay()
}

// lay makes the picture of the frame's overlays.
func (f *film) lay() {
	if len(f.frame.Overlays) == 0 {
		if f.overlay != nil {
			f.overlay.Deallocate()
			f.overlay = nil
		}
		return
	}
	w, h := f.frame.Columns, f.frame.Rows
	if f.overlay == nil {
		f.overlay = ebiten.NewImageWithOptions(image.Rect(0, 0, w, h), &ebiten.NewImageOptions{Unmanaged: true})
	}
	pix := make([]byte, 4*w*h) // graphics are white; premultiplied
	for i := range f.frame.Overlays {
		for k, on := range f.frame.Overlays[i].Mask(w, h).Pix {
			if on != 0 {
				pix[4*k], pix[4*k+1], pix[4*k+2], pix[4*k+3] = 0xE8, 0xE8, 0xE8, 0xE8
			}
		}
	}
	f.overlay.WritePixels(pix)
}

// show makes the picture for a window where it is not the one in use.
func (f *film) show(w imaging.Window) bool {
	if f.made && (w == f.window || f.frame.RGB != nil) {
		return false
	}
	if w != f.window {
		table := f.gray.Table(w)
		pix := make([]byte, 4*256*256)
		for i := range 256 * 256 {
			g := table[min(i, len(table)-1)]
			pix[4*i], pix[4*i+1], pix[4*i+2], pix[4*i+3] = g, g, g, 0xFF
		}
		f.table.WritePixels(pix)
	}
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
	for _, i := range []*ebiten.Image{f.samples, f.table, f.picture, f.overlay} {
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
