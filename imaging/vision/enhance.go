package vision

import (
	"fmt"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"leadline/imaging"
	"leadline/imaging/assist"
)

// Ways to enhance a frame, in the request's option "way": local contrast by
// OpenCV's contrast-limited histogram equalisation on 16 bits, and noise
// reduction that keeps edges by its bilateral filter on real numbers.
const (
	localContrast = "contrast"
	smoothNoise   = "noise"
)

// Parameters of both: how steep a local curve may be, in how many tiles a side;
// over how many pixels, and over which difference in the noise's standard
// deviations, values are averaged.
const (
	steepest     = 3.0
	tilesASide   = 8
	smoothReach  = 2.5 // px
	smoothValues = 3.0
)

// answerEnhance gives the frame back enhanced, for looking only: stored values of
// the same bits, Enhanced set. Nothing is measured on them.
func answerEnhance(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	var v []float64
	var err error
	note := "local contrast raised, for looking only"
	switch way := q.Options["way"]; way {
	case localContrast, "":
		v, err = p[0].evened()
	case smoothNoise:
		v, err = p[0].calmed()
		note = "noise reduced, for looking only"
	default:
		err = fmt.Errorf("%w: a frame is enhanced by %q or %q, not %q", imaging.ErrBadInput, localContrast, smoothNoise, way)
	}
	if err != nil {
		return assist.Answer{}, nil, err
	}
	low, high := 0.0, float64(int(1)<<q.BitsStored-1)
	if q.Signed {
		low, high = -float64(int(1)<<(q.BitsStored-1)), float64(int(1)<<(q.BitsStored-1)-1)
	}
	out := make([]uint16, len(v))
	for i, x := range v {
		if q.Bright {
			x = -x
		}
		out[i] = uint16(int(math.Round(max(low, min(high, x)))) & (1<<q.BitsStored - 1))
	}
	return assist.Answer{Columns: q.Columns, Rows: q.Rows, Frames: 1, Enhanced: true, Notes: []string{note}}, out, nil
}

// evened is the picture with its local contrast raised, over the values it had.
func (p Picture) evened() ([]float64, error) {
	lo, hi := slices.Min(p.V), slices.Max(p.V)
	// OpenCV equalises whole numbers of 16 bits.
	scale := 65535 / max(1, float64(hi-lo))
	raw := make([]byte, 2*len(p.V))
	for i, x := range p.V {
		s := uint16(math.Round(float64(x-lo) * scale))
		raw[2*i], raw[2*i+1] = byte(s), byte(s>>8)
	}
	m, err := gocv.NewMatFromBytes(p.Rows, p.Columns, gocv.MatTypeCV16U, raw)
	if err != nil {
		return nil, fmt.Errorf("OpenCV does not take the picture: %w", err)
	}
	held.Add(1)
	src := &matrix{m}
	defer src.release()
	dst := newMatrix()
	defer dst.release()
	c := gocv.NewCLAHEWithParams(steepest, image.Pt(tilesASide, tilesASide))
	defer c.Close()
	c.Apply(src.Mat, &dst.Mat)
	got, err := dst.DataPtrUint16()
	if err != nil {
		return nil, fmt.Errorf("OpenCV gave no 16-bit values: %w", err)
	}
	out := make([]float64, len(got))
	for i, s := range got {
		out[i] = float64(lo) + float64(s)/scale
	}
	return out, nil
}

// calmed is the picture with its noise reduced where no edge is.
func (p Picture) calmed() ([]float64, error) {
	noise, _ := grainOf(p, findField(p))
	src, err := p.matrix()
	if err != nil {
		return nil, err
	}
	defer src.release()
	dst := newMatrix()
	defer dst.release()
	gocv.BilateralFilter(src.Mat, &dst.Mat, 9, max(1, smoothValues*noise), smoothReach)
	got, err := dst.picture()
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(got.V))
	for i, x := range got.V {
		out[i] = float64(x)
	}
	return out, nil
}
