package dicomfile

import (
	"encoding/binary"
	"math"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// gray reads what leads from stored values to gray (PS3.3 C.11.1, C.11.2).
func (d *dataset) gray(h *imaging.Header) {
	h.RescaleSlope, h.RescaleIntercept = d.rescale()
	h.PixelIntensityRelationship = strings.ToUpper(d.code(tag.PixelIntensityRelationship))
	h.PresentationLUTShape = d.oneOf(tag.PresentationLUTShape, "IDENTITY", "INVERSE")
	if luts := d.luts(tag.ModalityLUTSequence, h.Signed); len(luts) > 0 {
		h.ModalityLUT = &luts[0]
	}
	below := h.Signed
	if h.ModalityLUT != nil {
		below = false // its output is never negative (PS3.3 C.11.1.1)
	} else if h.RescaleIntercept.Value < 0 || h.RescaleSlope.Known && h.RescaleSlope.Value < 0 {
		below = true
	}
	h.VOILUTs = d.luts(tag.VOILUTSequence, below)
	h.Windows = d.windows()
}

func (d *dataset) rescale() (slope, intercept imaging.Number) {
	slope, intercept = d.number(tag.RescaleSlope), d.number(tag.RescaleIntercept)
	if slope.Known && slope.Value == 0 {
		d.note(tag.RescaleSlope, "0 would leave no contrast; taken as not given")
		slope = imaging.Number{}
	}
	return slope, intercept
}

// windows pairs centres and widths. Widths that PS3.3 C.11.2.1.2 and C.11.2.1.3
// do not allow are left out.
func (d *dataset) windows() []imaging.Window {
	centres, widths := d.numbers(tag.WindowCenter), d.numbers(tag.WindowWidth)
	if len(centres) != len(widths) {
		d.note(tag.WindowCenter, "%d centres with %d widths; pairs are read as far as they go", len(centres), len(widths))
	}
	function := imaging.WindowFunction(d.oneOf(tag.VOILUTFunction, string(imaging.Linear), string(imaging.LinearExact), string(imaging.Sigmoid)))
	if function == "" {
		function = imaging.Linear
	}
	names := d.texts(tag.WindowCenterWidthExplanation)
	var out []imaging.Window
	for i := range min(len(centres), len(widths)) {
		w := imaging.Window{Center: centres[i], Width: widths[i], Function: function}
		if i < len(names) {
			w.Explanation = names[i]
		}
		if w.Width <= 0 || function == imaging.Linear && w.Width < 1 {
			d.note(tag.WindowWidth, "a width of %g is not allowed; that window is left out", w.Width)
			continue
		}
		out = append(out, w)
	}
	return out
}

// luts reads the items of a LUT sequence (PS3.3 C.11.1.1 and C.11.2.1.1).
// below: the values looked up may be negative.
func (d *dataset) luts(t tag.Tag, below bool) []imaging.LUT {
	var out []imaging.LUT
	for _, item := range d.elements[t].items {
		inner := dataset{elements: item, order: d.order, text: d.text}
		desc := inner.numbers(tag.LUTDescriptor)
		if len(desc) != 3 {
			d.note(t, "a LUT descriptor of %d values; that table is left out", len(desc))
			continue
		}
		entries, first, bits := int(desc[0]), int(desc[1]), int(desc[2])
		if entries <= 0 { // 0 stands for 65536; an SS descriptor wraps
			entries += 1 << 16
		}
		if below && first > math.MaxInt16 {
			first -= 1 << 16
		} else if !below && first < 0 {
			first += 1 << 16
		}
		data := item[tag.LUTData].value
		lut := imaging.LUT{First: first, Bits: bits, Explanation: inner.line(tag.LUTExplanation), Table: make([]uint16, 0, min(entries, len(data)))}
		switch {
		case bits < 1 || bits > 16:
			d.note(t, "a LUT of %d bits; that table is left out", bits)
			continue
		case len(data) >= 2*entries:
			for b := data[:2*entries]; len(b) > 0; b = b[2:] {
				lut.Table = append(lut.Table, d.order.Uint16(b))
			}
		case bits <= 8 && len(data) >= entries:
			// Old files pack two 8-bit entries into a word (PS3.3 C.11.1.1.1 allows 8 bits allocated).
			swapped := item[tag.LUTData].vr != "OB" && d.order == binary.BigEndian
			for i := range entries {
				if swapped && i^1 < len(data) {
					lut.Table = append(lut.Table, uint16(data[i^1]))
				} else {
					lut.Table = append(lut.Table, uint16(data[i]))
				}
			}
		default:
			d.note(t, "%d entries are claimed and %d bytes are there; that table is left out", entries, len(data))
			continue
		}
		top := uint16(1<<bits - 1)
		over := false
		for i, v := range lut.Table {
			if v > top {
				lut.Table[i], over = top, true
			}
		}
		if over {
			d.note(t, "entries above %d bits; cut to %d", bits, top)
		}
		out = append(out, lut)
	}
	return out
}
