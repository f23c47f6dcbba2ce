// Package vision finds things on a frame: needles and their tips, contacts,
// margins, foramina, and how good the frame is. It is the only package that
// links OpenCV, which it uses to filter; where something is and how sure that
// is comes from models fitted here.
package vision

import "leadline/imaging/assist"

// Picture is one frame as numbers in which what absorbs more is lower.
type Picture struct {
	Columns, Rows int
	V             []float32 // row by row; stored values, their sign turned where bright absorbs
}

// At is the value of the pixel in column x, row y.
func (p Picture) At(x, y int) float64 { return float64(p.V[y*p.Columns+x]) }

// pictures of a request.
func pictures(q assist.Request, pixels []uint16) []Picture {
	out := make([]Picture, q.Frames)
	n := q.Columns * q.Rows
	for k := range out {
		p := Picture{q.Columns, q.Rows, make([]float32, n)}
		for i, s := range pixels[k*n : (k+1)*n] {
			v := int(s)
			if q.Signed && v >= 1<<(q.BitsStored-1) {
				v -= 1 << q.BitsStored
			}
			if q.Bright {
				v = -v
			}
			p.V[i] = float32(v)
		}
		out[k] = p
	}
	return out
}
