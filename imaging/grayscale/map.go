// Package grayscale turns stored values into the gray of a display, by the
// pipeline of PS3.3 C.11 and PS3.4 N.2: modality transformation, value of
// interest (window or LUT), presentation shape.
//
// All of it is folded into a table with one entry for each sample a frame can
// hold, so showing a frame costs one look-up a pixel.
package grayscale

import (
	"fmt"
	"image"
	"math"

	"leadline/imaging"
)

// Map is the grayscale pipeline of one instance.
type Map struct {
	h *imaging.Header
	// modality: stored values are transformed before the window.
	slope, intercept float64
	lut              *imaging.LUT
	invert           bool
}

// New reads the pipeline out of a header whose pixel attributes are in order,
// as dicomfile gives it; else the error wraps imaging.ErrDamaged.
//
// The modality transformation of XA and XRF images leads back to X-ray
// intensity and is not meant for display: PS3.4 N.2.5 has it ignored, as has
// PS3.17 FFF.2.3.1.3.4 its successor in enhanced images. Windows of such
// images are therefore in stored values.
//
// Presentation LUT Shape decides whether the gray is inverted; where it is not
// given, Photometric Interpretation does: MONOCHROME1 shows its lowest value
// white (PS3.3 C.7.6.3.1.2).
func New(h *imaging.Header) (*Map, error) {
	if h.BitsStored < 1 || h.BitsStored > 16 {
		return nil, fmt.Errorf("%s: %w: %d bits stored cannot be shown", h.File, imaging.ErrDamaged, h.BitsStored)
	}
	m := &Map{h: h, slope: 1}
	switch {
	case h.Base.Kind == imaging.KindXA || h.Base.Kind == imaging.KindXRF:
	case h.ModalityLUT != nil && len(h.ModalityLUT.Table) > 0:
		m.lut = h.ModalityLUT
	default:
		if h.RescaleSlope.Known {
			m.slope = h.RescaleSlope.Value
		}
		if h.RescaleIntercept.Known {
			m.intercept = h.RescaleIntercept.Value
		}
	}
	switch h.PresentationLUTShape {
	case "INVERSE":
		m.invert = true
	case "IDENTITY":
	default:
		m.invert = h.Photometric == "MONOCHROME1"
	}
	return m, nil
}

// Modality is the value, in modality units, that windows are stated in, of a
// stored value (sign extended).
func (m *Map) Modality(stored int) float64 {
	if m.lut != nil {
		return float64(lookup(m.lut, float64(stored)))
	}
	return m.slope*float64(stored) + m.intercept
}

// lookup reads a LUT; values outside it get its first or last entry
// (PS3.3 C.11.1.1 and C.11.2.1.1).
func lookup(l *imaging.LUT, x float64) uint16 {
	i := math.Round(x) - float64(l.First)
	return l.Table[int(min(max(i, 0), float64(len(l.Table)-1)))]
}

// stored is the range of stored values.
func (m *Map) stored() (lo, hi int) {
	if m.h.Signed {
		return -1 << (m.h.BitsStored - 1), 1<<(m.h.BitsStored-1) - 1
	}
	return 0, 1<<m.h.BitsStored - 1
}

// Windows are those of the header that can be used, or else one over all the
// values that the bits can hold.
func (m *Map) Windows() []imaging.Window {
	if out := m.stated(); len(out) > 0 {
		return out
	}
	lo, hi := m.stored()
	least, most := math.Inf(1), math.Inf(-1)
	if m.lut != nil {
		for _, v := range m.lut.Table {
			least, most = min(least, float64(v)), max(most, float64(v))
		}
	} else {
		a, b := m.Modality(lo), m.Modality(hi)
		least, most = min(a, b), max(a, b)
	}
	w := between(least, most)
	w.Explanation = "full range"
	return []imaging.Window{w}
}

// between is the LINEAR window that shows lo black and hi white
// (PS3.3 C.11.2.1.2.1 solved for centre and width).
func between(lo, hi float64) imaging.Window {
	return imaging.Window{Center: (lo + hi + 1) / 2, Width: max(1, hi-lo+1), Function: imaging.Linear}
}

// stated are the windows of the header that can be used.
func (m *Map) stated() []imaging.Window {
	var out []imaging.Window
	for _, w := range m.h.Windows {
		if usable(w) {
			out = append(out, w)
		}
	}
	return out
}

func usable(w imaging.Window) bool {
	if math.IsNaN(w.Center) || math.IsInf(w.Center, 0) || math.IsNaN(w.Width) || math.IsInf(w.Width, 0) {
		return false
	}
	if w.Function == imaging.LinearExact || w.Function == imaging.Sigmoid {
		return w.Width > 0
	}
	return w.Width >= 1
}

// Value of a window function at x in modality units, from 0 (black before the
// presentation shape) to 1. A width that the function does not allow, below 1
// for LINEAR or not above 0, is taken as a step at the centre.
func Value(w imaging.Window, x float64) float64 {
	c, width := w.Center, w.Width
	switch w.Function {
	case imaging.LinearExact: // PS3.3 C.11.2.1.3.2
		switch {
		case x <= c-width/2:
			return 0
		case x > c+width/2:
			return 1
		}
		return (x-c)/width + 0.5
	case imaging.Sigmoid: // PS3.3 C.11.2.1.3.1
		if width > 0 {
			return 1 / (1 + math.Exp(-4*(x-c)/width))
		}
		if x <= c {
			return 0
		}
		return 1
	default: // LINEAR, PS3.3 C.11.2.1.2.1
		width = max(width, 1)
		switch {
		case x <= c-0.5-(width-1)/2:
			return 0
		case x > c-0.5+(width-1)/2:
			return 1
		}
		return (x-(c-0.5))/(width-1) + 0.5
	}
}

// Table gives the display gray, 0 to 255, of each sample a frame can hold
// (index: the sample as imaging.Frame keeps it; length 1 << BitsStored) for a
// window. Pixel padding is black.
func (m *Map) Table(w imaging.Window) []uint8 {
	return m.table(func(x float64) float64 { return Value(w, x) })
}

// VOITable is Table for the header's VOI LUT i; nil where there is none.
func (m *Map) VOITable(i int) []uint8 {
	if i < 0 || i >= len(m.h.VOILUTs) || len(m.h.VOILUTs[i].Table) == 0 {
		return nil
	}
	l := &m.h.VOILUTs[i]
	top := float64(uint32(1)<<l.Bits - 1)
	return m.table(func(x float64) float64 { return float64(lookup(l, x)) / top })
}

func (m *Map) table(voi func(float64) float64) []uint8 {
	out := make([]uint8, 1<<m.h.BitsStored)
	for i := range out {
		stored := m.h.StoredValue(uint16(i))
		if m.Padding(stored) {
			continue
		}
		y := voi(m.Modality(stored))
		if m.invert {
			y = 1 - y
		}
		out[i] = uint8(255*min(max(y, 0), 1) + 0.5)
	}
	return out
}

// Padding says whether a stored value stands for no image (PS3.3 C.7.5.1.1.2):
// Pixel Padding Value, or the range from it to Pixel Padding Range Limit.
func (m *Map) Padding(stored int) bool {
	p, q := m.h.PaddingValue, m.h.PaddingLimit
	if !p.Known {
		return false
	}
	if !q.Known {
		q = p
	}
	v := float64(stored)
	return v >= min(p.Value, q.Value) && v <= max(p.Value, q.Value)
}

// Picture is how a frame is shown: a colour frame as it is, any other by Render
// with a table that Table or VOITable made. Overlays are not drawn in it: each
// gives its own Mask.
func Picture(f *imaging.Frame, table []uint8) image.Image {
	if f.RGB == nil {
		return Render(f, table)
	}
	img := image.NewRGBA(image.Rect(0, 0, f.Columns, f.Rows))
	for i := range min(len(f.RGB)/3, len(img.Pix)/4) {
		copy(img.Pix[4*i:], f.RGB[3*i:3*i+3])
		img.Pix[4*i+3] = 0xff
	}
	return img
}

// Render looks every sample of f up in table, which Table or VOITable made for
// f's instance.
func Render(f *imaging.Frame, table []uint8) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, f.Columns, f.Rows))
	samples := f.Samples[:min(len(f.Samples), len(img.Pix))]
	pix := img.Pix[:len(samples)]
	if len(table) == 1<<16 { // no sample can lie outside
		full := (*[1 << 16]uint8)(table)
		for i, s := range samples {
			pix[i] = full[s]
		}
		return img
	}
	for i, s := range samples {
		if int(s) < len(table) {
			pix[i] = table[s]
		}
	}
	return img
}
