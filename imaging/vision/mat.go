package vision

import (
	"fmt"
	"image"
	"sync/atomic"
	"unsafe"

	"gocv.io/x/gocv"

	"leadline/imaging"
)

// held is how many of OpenCV's matrices are open, so that a test can hold that
// each is released.
var held atomic.Int64

// matrix is an OpenCV matrix that is counted while it is open.
type matrix struct{ gocv.Mat }

// newMatrix is an empty one for OpenCV to fill.
func newMatrix() *matrix {
	held.Add(1)
	return &matrix{gocv.NewMat()}
}

// release gives the memory back.
func (m *matrix) release() {
	m.Mat.Close()
	held.Add(-1)
}

// matrix of the picture, 32-bit floats. It shares the picture's memory: OpenCV
// must not write to it, and the picture must outlive it.
func (p Picture) matrix() (*matrix, error) {
	if len(p.V) == 0 || len(p.V) != p.Columns*p.Rows {
		return nil, fmt.Errorf("a picture of %d x %d pixels has %d: %w", p.Columns, p.Rows, len(p.V), imaging.ErrDamaged)
	}
	raw := unsafe.Slice((*byte)(unsafe.Pointer(&p.V[0])), 4*len(p.V))
	m, err := gocv.NewMatFromBytes(p.Rows, p.Columns, gocv.MatTypeCV32F, raw)
	if err != nil {
		return nil, fmt.Errorf("OpenCV does not take the picture: %w", err)
	}
	held.Add(1)
	return &matrix{m}, nil
}

// picture copies a matrix of 32-bit floats.
func (m *matrix) picture() (Picture, error) {
	v, err := m.DataPtrFloat32()
	if err != nil {
		return Picture{}, fmt.Errorf("OpenCV gave no floats: %w", err)
	}
	return Picture{m.Cols(), m.Rows(), append([]float32(nil), v...)}, nil
}

// smoothed by a Gaussian of sigma pixels.
func (p Picture) smoothed(sigma float64) (Picture, error) {
	src, err := p.matrix()
	if err != nil {
		return Picture{}, err
	}
	defer src.release()
	dst := newMatrix()
	defer dst.release()
	gocv.GaussianBlur(src.Mat, &dst.Mat, image.Point{}, sigma, sigma, gocv.BorderReplicate)
	return dst.picture()
}
