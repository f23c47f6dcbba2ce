package window

import (
	"image"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/viewer/board"
)

// thumbStore keeps small pictures on the graphics card while they are shown.
type thumbStore map[*image.RGBA]*ebiten.Image

func (s *thumbStore) draw(dst *ebiten.Image, list []board.Thumb) {
	if len(list) == 0 {
		s.clear()
		return
	}
	if *s == nil {
		*s = thumbStore{}
	}
	for _, t := range list {
		pic := (*s)[t.Image]
		if pic == nil {
			pic = ebiten.NewImageFromImage(t.Image)
			(*s)[t.Image] = pic
		}
		b := t.Image.Bounds()
		var op ebiten.DrawImageOptions
		op.GeoM.Scale(t.Place.W()/float64(b.Dx()), t.Place.H()/float64(b.Dy()))
		op.GeoM.Translate(t.Place.Min.X, t.Place.Min.Y)
		op.Filter = ebiten.FilterLinear
		dst.DrawImage(pic, &op)
	}
}

func (s *thumbStore) clear() {
	for _, pic := range *s {
		pic.Deallocate()
	}
	*s = nil
}
