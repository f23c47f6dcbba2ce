package window

import (
	"image"
	"math"

	"github.com/hajimehoshi/ebiten/v2"
)

// profiles is a picture that holds, row by row, how a line of a given width
// covers the pixels across it: full in the middle, falling to nothing over the
// pixel at each edge. A band drawn with a row of it has smooth edges at the
// cost of two triangles.
type profiles struct {
	image *ebiten.Image
	rows  map[int]int // by half width in sixteenths of a pixel
}

const (
	profileFine   = 4   // texels for a pixel
	profileMargin = 1.0 // pixels beside the line that its band covers as well
	profileWide   = 256 // texels: lines up to some 60 pixels wide
	profileHigh   = 512
	// rows are 3 texels high, so that filtering between them mixes nothing.
	profileRow = 3
	// whiteAt is a place of full cover, for what is filled.
	whiteAt = 3
	white   = 6 // texels square in the corner
)

func newProfiles() *profiles {
	p := &profiles{
		image: ebiten.NewImageWithOptions(image.Rect(0, 0, profileWide, profileHigh), &ebiten.NewImageOptions{Unmanaged: true}),
		rows:  map[int]int{},
	}
	full := make([]byte, 4*white*white)
	for i := range full {
		full[i] = 0xFF
	}
	p.image.SubImage(image.Rect(0, 0, white, white)).(*ebiten.Image).WritePixels(full)
	return p
}

// of gives where in the picture the profile of a line lies: from low to high at
// height y, for a band that covers profileMargin more than half on each side.
func (p *profiles) of(half float64) (low, high, y float32) {
	most := float64(profileWide)/2/profileFine - profileMargin - 1
	key := int(math.Round(math.Min(half, most) * 16))
	half = float64(key) / 16
	texels := 2 * (half + profileMargin) * profileFine
	row, ok := p.rows[key]
	if !ok {
		row = len(p.rows)
		if white+(row+1)*profileRow > profileHigh {
			row = 0 // more widths than any drawing has: begin again
			clear(p.rows)
		}
		p.rows[key] = row
		p.write(row, half)
	}
	middle := float32(profileWide) / 2
	return middle - float32(texels/2), middle + float32(texels/2), float32(white+row*profileRow) + profileRow/2.0
}

func (p *profiles) write(row int, half float64) {
	pix := make([]byte, 4*profileWide*profileRow)
	for x := range profileWide {
		off := math.Abs(float64(x)+0.5-profileWide/2) / profileFine
		cover := byte(math.Round(255 * math.Max(0, math.Min(1, half+0.5-off))))
		for r := range profileRow {
			i := 4 * (r*profileWide + x)
			pix[i], pix[i+1], pix[i+2], pix[i+3] = cover, cover, cover, cover
		}
	}
	top := white + row*profileRow
	p.image.SubImage(image.Rect(0, top, profileWide, top+profileRow)).(*ebiten.Image).WritePixels(pix)
}
