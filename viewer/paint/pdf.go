package paint

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"time"

	resample "github.com/disintegration/imaging"
	"github.com/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/scene"
)

// Placed is a film's picture, in its stored orientation, in the view's pane, with
// what is drawn over it.
type Placed struct {
	Gray *image.Gray
	View scene.View
	Over scene.Drawing
}

// Printed is one page to print. All lengths are points of 1/72 inch, from the
// page's top left corner.
type Printed struct {
	W, H  float64
	Title string
	Made  time.Time // stands in the file as its date
	Under scene.Drawing
	Films []Placed
}

// WritePDF writes the page as a PDF: lines, shapes and words as such, words in
// the scene's fonts, films by their own pixels. Equal pages give equal bytes.
func WritePDF(w io.Writer, page Printed) error {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt", Size: fpdf.SizeType{Wd: page.W, Ht: page.H}})
	f.SetCatalogSort(true)
	f.SetCreationDate(page.Made.UTC())
	f.SetModificationDate(page.Made.UTC())
	f.SetProducer("Leadline", true)
	f.SetTitle(page.Title, true)
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.AddUTF8FontFromBytes("scene", "", scene.FontData(false))
	f.AddUTF8FontFromBytes("scene", "B", scene.FontData(true))
	f.AddPage()
	f.SetLineCapStyle("round")
	f.SetLineJoinStyle("round")
	p := printer{f, map[int]bool{}}
	p.draw(page.Under)
	for i, film := range page.Films {
		if err := p.film(fmt.Sprintf("film%d", i), film); err != nil {
			return err
		}
		p.draw(film.Over)
	}
	return f.Output(w)
}

type printer struct {
	pdf    *fpdf.Fpdf
	widths map[int]bool // of the images so far
}

// film sets the frame's own pixels, turned as the view says, into its pane.
func (p printer) film(name string, film Placed) error {
	var turned image.Image = film.Gray
	switch ((film.View.Quarter % 4) + 4) % 4 {
	case 1:
		turned = resample.Rotate270(film.Gray)
	case 2:
		turned = resample.Rotate180(film.Gray)
	case 3:
		turned = resample.Rotate90(film.Gray)
	}
	b := turned.Bounds()
	// The library writes images in the order of their widths, and those of one
	// width in no fixed order: a film of a width that was there is given a black
	// column more, which is clipped away, so that equal pages give equal bytes.
	width := b.Dx()
	for p.widths[width] {
		width++
	}
	p.widths[width] = true
	gray := image.NewGray(image.Rect(0, 0, width, b.Dy()))
	for y := range b.Dy() {
		for x := range b.Dx() {
			gray.Set(x, y, turned.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	var packed bytes.Buffer
	if err := png.Encode(&packed, gray); err != nil {
		return err
	}
	opt := fpdf.ImageOptions{ImageType: "PNG"}
	p.pdf.RegisterImageOptionsReader(name, opt, &packed)
	r := film.View.Pane
	p.pdf.ClipRect(r.Min.X, r.Min.Y, r.W(), r.H(), false)
	p.pdf.ImageOptions(name, r.Min.X, r.Min.Y, r.W()*float64(width)/float64(b.Dx()), r.H(), false, opt, 0, "")
	p.pdf.ClipEnd()
	return p.pdf.Error()
}

func (p printer) draw(d scene.Drawing) {
	for _, l := range d.Layers {
		p.pdf.ClipRect(l.Clip.Min.X, l.Clip.Min.Y, l.Clip.W(), l.Clip.H(), false)
		for _, s := range l.Fills {
			p.ink(s.Color)
			p.path(s.Points, true)
			p.pdf.DrawPath("F")
		}
		for _, s := range l.Lines {
			p.ink(s.Color)
			p.pdf.SetLineWidth(s.Width)
			p.path(s.Points, s.Closed)
			p.pdf.DrawPath("D")
		}
		for _, t := range l.Texts {
			p.text(t)
		}
		p.pdf.ClipEnd()
	}
}

func (p printer) ink(c color.NRGBA) {
	r, g, b := int(c.R), int(c.G), int(c.B)
	p.pdf.SetDrawColor(r, g, b)
	p.pdf.SetFillColor(r, g, b)
	p.pdf.SetTextColor(r, g, b)
	p.pdf.SetAlpha(float64(c.A)/255, "Normal")
}

func (p printer) path(pts []r2.Vec, closed bool) {
	for i, q := range pts {
		if i == 0 {
			p.pdf.MoveTo(q.X, q.Y)
		} else {
			p.pdf.LineTo(q.X, q.Y)
		}
	}
	if closed {
		p.pdf.ClosePath()
	}
}

// text sets words as words, so that they can be searched and copied; their dark
// edge is drawn from the letters' outlines, so that they stand there once.
func (p printer) text(t scene.Text) {
	if t.Edge > 0 {
		p.ink(scene.Dark)
		p.pdf.SetLineWidth(2 * t.Edge)
		x := t.X
		for _, r := range t.Words {
			g := outline(r, t.Bold)
			for _, loop := range g.loops {
				pts := make([]r2.Vec, len(loop))
				for i, q := range loop {
					pts[i] = r2.Vec{X: x + q.X*t.Size, Y: t.Y + q.Y*t.Size}
				}
				p.path(pts, true)
				p.pdf.DrawPath("D")
			}
			x += g.advance * t.Size
		}
	}
	style := ""
	if t.Bold {
		style = "B"
	}
	p.ink(t.Color)
	p.pdf.SetFont("scene", style, t.Size)
	p.pdf.Text(t.X, t.Y, t.Words)
}
