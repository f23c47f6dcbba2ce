package window

import (
	"image"
	"image/color"
	"reflect"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/imaging"
	"leadline/viewer/scene"
)

// kept is a pane's film with its marks as last drawn. What stays the same from
// one frame to the next is drawn once into a picture and then only copied, so
// that a drag on one film costs nothing on the other.
type kept struct {
	film     *film
	turned   int // of the film
	overlays bool
	window   imaging.Window
	scene    *scene.Scene
	view     scene.View

	drawn   scene.Drawing
	picture *ebiten.Image
	valid   bool // picture shows drawn
}

func (k *kept) draw(screen *ebiten.Image, pen *ink, f *film, w imaging.Window, overlays bool, sc *scene.Scene, v scene.View) {
	same := k.film == f && k.turned == f.turned && k.overlays == overlays && k.window == w && k.view == v && k.scene != nil
	if same = same && reflect.DeepEqual(k.scene, sc); !same {
		if k.scene == nil || k.view != v || !reflect.DeepEqual(k.scene, sc) {
			k.drawn = sc.Draw(v)
		}
		k.film, k.turned, k.overlays, k.window, k.scene, k.view, k.valid = f, f.turned, overlays, w, sc, v, false
		k.lay(screen, pen)
		return
	}
	r := pixels(v.Pane)
	if !k.valid {
		if k.picture == nil || k.picture.Bounds() != r {
			if k.picture != nil {
				k.picture.Deallocate()
			}
			k.picture = ebiten.NewImageWithOptions(r, &ebiten.NewImageOptions{Unmanaged: true})
		}
		k.lay(k.picture, pen)
		k.valid = true
	}
	var op ebiten.DrawImageOptions
	op.GeoM.Translate(float64(r.Min.X), float64(r.Min.Y))
	op.Blend = ebiten.BlendCopy
	screen.DrawImage(k.picture, &op)
}

// lay draws film and marks.
func (k *kept) lay(dst *ebiten.Image, pen *ink) {
	dst.SubImage(image.Rectangle(pixels(k.view.Pane))).(*ebiten.Image).Fill(color.NRGBA{A: 0xFF})
	k.film.show(k.window)
	k.film.draw(dst, k.view, k.overlays)
	pen.draw(dst, k.drawn)
}
