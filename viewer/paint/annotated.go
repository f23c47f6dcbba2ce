package paint

import (
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"

	resample "github.com/disintegration/imaging"
	"github.com/google/renameio/v2"

	"leadline/imaging"
	"leadline/viewer/scene"
)

// Annotated paints one film with its marks, side and level, numbers and
// cautions on a page width pixels wide. gray is the film as displayed, in its
// stored orientation, one pixel for each of the frame's.
func Annotated(gray *image.Gray, s scene.Scene, width int) *image.RGBA {
	page := scene.NewPage(&s, width)
	dst := image.NewRGBA(image.Rect(0, 0, page.W, page.H))
	Draw(dst, page.Under)
	Film(dst, gray, page.View)
	Draw(dst, page.Over)
	return dst
}

// Film paints the whole frame into the view's pane, turned as the view says.
// The view must show the frame whole, as Page's does; it is not mirrored.
func Film(dst *image.RGBA, gray *image.Gray, v scene.View) {
	pane := image.Rect(round(v.Pane.Min.X), round(v.Pane.Min.Y), round(v.Pane.Max.X), round(v.Pane.Max.Y))
	if pane.Empty() || gray.Bounds().Empty() {
		return
	}
	var turned image.Image = gray
	// The library turns counter-clockwise.
	switch ((v.Quarter % 4) + 4) % 4 {
	case 1:
		turned = resample.Rotate270(gray)
	case 2:
		turned = resample.Rotate180(gray)
	case 3:
		turned = resample.Rotate90(gray)
	}
	filter := resample.Lanczos
	if pane.Dx() > turned.Bounds().Dx() {
		filter = resample.CatmullRom // Lanczos rings where it enlarges
	}
	draw.Draw(dst, pane, resample.Resize(turned, pane.Dx(), pane.Dy(), filter), image.Point{}, draw.Src)
}

func round(v float64) int { return int(math.Round(v)) }

// WritePNG writes the picture whole or not at all; the file holds pixels alone,
// no text, time or other metadata.
func WritePNG(path string, img image.Image) error {
	f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644))
	if err != nil {
		return fmt.Errorf("%w: cannot write %s: %v; choose a folder that can be written", imaging.ErrBadInput, path, err)
	}
	defer f.Cleanup()
	enc := png.Encoder{CompressionLevel: png.DefaultCompression}
	if err := enc.Encode(f, img); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	return nil
}
