package window

import (
	"image"
	"image/color"
	"math"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/viewer/paint"
	"leadline/viewer/scene"
)

// wordStore keeps a picture of each line of words that was drawn, so that it is
// set once; what has not been used for some time goes.
type wordStore struct {
	kept map[wordKey]*wordPicture
	turn int
}

type wordKey struct {
	words      string
	size, edge float32
	bold       bool
	color      color.NRGBA
	shift      int8 // quarters of a pixel
}

type wordPicture struct {
	image *ebiten.Image
	used  int
}

// keptWords is how many pictures are kept before old ones go.
const keptWords = 1500

func newWordStore() *wordStore { return &wordStore{kept: map[wordKey]*wordPicture{}} }

func (s *wordStore) draw(dst *ebiten.Image, t scene.Text) {
	if t.Words == "" {
		return
	}
	x, y := math.Floor(t.X), math.Round(t.Y)
	shift := int8((t.X - x) * 4)
	key := wordKey{t.Words, float32(t.Size), float32(t.Edge), t.Bold, t.Color, shift}
	pad := math.Ceil(t.Edge) + 1
	up := math.Ceil(t.Size) + pad
	p := s.kept[key]
	if p == nil {
		at := t
		at.X, at.Y = pad+float64(shift)/4, up
		w := int(math.Ceil(at.Box().Max.X + pad))
		h := int(up + math.Ceil(0.3*t.Size) + pad)
		if w <= 0 || h <= 0 || w > 8192 || h > 2048 {
			return
		}
		rgba := image.NewRGBA(image.Rect(0, 0, w, h))
		paint.Draw(rgba, scene.Drawing{Layers: []scene.Layer{{Clip: scene.Box(0, 0, float64(w), float64(h)), Texts: []scene.Text{at}}}})
		p = &wordPicture{image: ebiten.NewImageFromImage(rgba)}
		s.kept[key] = p
	}
	p.used = s.turn
	var op ebiten.DrawImageOptions
	op.GeoM.Translate(x-pad, y-up)
	dst.DrawImage(p.image, &op)
}

// age counts drawn frames and drops what was not used in the last ones.
func (s *wordStore) age() {
	s.turn++
	if len(s.kept) < keptWords {
		return
	}
	for k, p := range s.kept {
		if s.turn-p.used > 120 {
			p.image.Deallocate()
			delete(s.kept, k)
		}
	}
}
