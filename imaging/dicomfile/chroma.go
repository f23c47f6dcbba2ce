package dicomfile

import "image"

// components of a decoded JPEG stream at full size, three bytes a pixel. Of
// halved colours each pixel gets three quarters of the nearest sample and one
// of the next, along rows and columns: samples lie centred between the pixels
// they stand for (JFIF, ITU-T T.871 6.1), and the reference decoder does the
// same.
func components(img *image.YCbCr, columns, rows int) []uint8 {
	out := make([]uint8, 3*columns*rows)
	for y := range rows {
		for x := range columns {
			out[3*(y*columns+x)] = img.Y[img.YOffset(x, y)]
		}
	}
	for k, plane := range [2][]uint8{img.Cb, img.Cr} {
		at := func(x, y int) int { return int(plane[y*img.CStride+x]) }
		put := func(x, y, v int) { out[3*(y*columns+x)+1+k] = uint8(v) }
		width, height := (columns+1)/2, (rows+1)/2
		switch img.SubsampleRatio {
		case image.YCbCrSubsampleRatio422:
			for y := range rows {
				for x := range columns {
					i, other := x/2, near(x, width)
					put(x, y, (3*at(i, y)+at(other, y)+1+x%2)>>2)
				}
			}
		case image.YCbCrSubsampleRatio420:
			for y := range rows {
				j, far := y/2, near(y, height)
				sum := func(i int) int { return 3*at(i, j) + at(i, far) }
				for x := range columns {
					put(x, y, (3*sum(x/2)+sum(near(x, width))+8-x%2)>>4)
				}
			}
		default:
			for y := range rows {
				for x := range columns {
					put(x, y, int(plane[img.COffset(x, y)]))
				}
			}
		}
	}
	return out
}

// near is the halved sample that pixel x leans to beside its own, of n.
func near(x, n int) int {
	if x%2 == 0 {
		return max(x/2-1, 0)
	}
	return min(x/2+1, n-1)
}
