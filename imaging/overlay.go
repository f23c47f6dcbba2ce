package imaging

import "image"

// Overlay is one plane of graphics over a frame (PS3.3 C.9.2): a bit a pixel.
type Overlay struct {
	Group       uint16 // 0x6000, 0x6002 ... 0x601E
	Type        string // GRAPHICS or ROI
	Label       string
	Description string
	Columns     int
	Rows        int
	// Left and Top are the frame's column and row, from 0, that the plane's
	// first pixel lies on; they may be negative (Overlay Origin 1\1 is 0, 0).
	Left, Top int
	// Bits are the plane's pixels row by row, eight a byte, lowest bit first;
	// rows are not padded (PS3.5 8.1.2).
	Bits []byte
}

// At says whether the overlay marks the frame's pixel at column x, row y, from 0.
func (o *Overlay) At(x, y int) bool {
	x, y = x-o.Left, y-o.Top
	if x < 0 || y < 0 || x >= o.Columns || y >= o.Rows {
		return false
	}
	i := y*o.Columns + x
	return i>>3 < len(o.Bits) && o.Bits[i>>3]>>(i&7)&1 != 0
}

// Mask is the overlay over a frame of columns by rows pixels, to be drawn in
// any colour: 255 where it marks a pixel. What lies outside the frame is left
// out.
func (o *Overlay) Mask(columns, rows int) *image.Alpha {
	m := image.NewAlpha(image.Rect(0, 0, columns, rows))
	for y := max(0, o.Top); y < min(rows, o.Top+o.Rows); y++ {
		for x := max(0, o.Left); x < min(columns, o.Left+o.Columns); x++ {
			if o.At(x, y) {
				m.Pix[y*m.Stride+x] = 255
			}
		}
	}
	return m
}
