package dicomfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// Elements of an overlay group, 6000 to 601E, even (PS3.3 C.9.2, C.9.3; PS3.5
// 7.6), and their representation, which implicit VR leaves out and the
// library's dictionary has for the first group only.
const (
	overlayRows        = 0x0010
	overlayColumns     = 0x0011
	overlayFrames      = 0x0015
	overlayDescription = 0x0022
	overlayType        = 0x0040
	overlayOrigin      = 0x0050
	overlayFirst       = 0x0051
	overlayAllocated   = 0x0100
	overlayPosition    = 0x0102
	overlayLabel       = 0x1500
	overlayData        = 0x3000
)

var overlayVR = map[uint16]string{
	overlayRows: "US", overlayColumns: "US", overlayFrames: "IS", overlayDescription: "LO", overlayType: "CS", overlayOrigin: "SS",
	overlayFirst: "US", overlayAllocated: "US", overlayPosition: "US", overlayLabel: "LO", overlayData: "OW",
}

func overlayGroup(g uint16) bool { return g >= 0x6000 && g <= 0x601e && g%2 == 0 }

// inOverlay says whether an element is kept as part of an overlay.
func inOverlay(t tag.Tag) bool { return overlayGroup(t.Group) && overlayVR[t.Element] != "" }

// plane is an overlay as the header describes it: its bits are read when a
// frame is.
type plane struct {
	about imaging.Overlay // without bits
	// all: over every frame. Else the overlay's frames begin at frame first.
	all           bool
	first, frames int
	data          element // of Overlay Data; zero where bit is used
	bit           int     // of the samples' words, where the old form has it

	mu   sync.Mutex
	bits []byte // once read, of a plane over all frames
}

// overlays reads the overlay groups. One that cannot be shown is left out with
// a note.
func (d *dataset) overlays(h *imaging.Header) (out []*plane) {
	for g := uint16(0x6000); g <= 0x601e; g += 2 {
		at := func(el uint16) tag.Tag { return tag.Tag{Group: g, Element: el} }
		notes := len(d.notes)
		rows, columns := d.number(at(overlayRows)).Value, d.number(at(overlayColumns)).Value
		data, inData := d.elements[at(overlayData)]
		allocated := d.number(at(overlayAllocated))
		if rows == 0 && columns == 0 && !inData && len(d.notes) == notes {
			continue
		}
		p := &plane{data: data, bit: -1, all: true, first: 1, frames: 1}
		o := &p.about
		*o = imaging.Overlay{Group: g, Rows: int(rows), Columns: int(columns), Label: d.line(at(overlayLabel)), Description: d.line(at(overlayDescription))}
		o.Type = map[string]string{"G": "GRAPHICS", "R": "ROI"}[strings.ToUpper(d.code(at(overlayType)))]
		if v := d.numbers(at(overlayOrigin)); len(v) == 2 {
			o.Top, o.Left = int(v[0])-1, int(v[1])-1
		} else if len(v) != 0 {
			d.note(at(overlayOrigin), "%d values where two are due; read as 1 and 1", len(v))
		}
		if n := d.number(at(overlayFrames)); n.Known {
			p.all, p.frames = false, int(n.Value)
		}
		if n := d.number(at(overlayFirst)); n.Known {
			p.all, p.first = false, int(n.Value)
		}
		if h.Frames == 1 {
			p.all = p.first == 1 && p.frames >= 1
		}
		if why := d.unfit(p, h, inData, allocated); why != "" {
			d.note(at(overlayData), "%s; the overlay is not shown", why)
			continue
		}
		out = append(out, p)
	}
	return out
}

// unfit says why an overlay cannot be read, and finds where its bits lie.
func (d *dataset) unfit(p *plane, h *imaging.Header, inData bool, allocated imaging.Number) string {
	o := &p.about
	if o.Rows < 1 || o.Columns < 1 || o.Rows > 65535 || o.Columns > 65535 || o.Rows*o.Columns > maxPixels {
		return fmt.Sprintf("%d by %d pixels", o.Columns, o.Rows)
	}
	if p.frames < 1 || p.frames > maxFrames || p.first < 1 {
		return fmt.Sprintf("%d frames from frame %d on", p.frames, p.first)
	}
	if inData {
		need := (int64(o.Rows)*int64(o.Columns)*int64(p.frames) + 7) / 8
		if p.data.length == undefinedLength || int64(p.data.length) < need {
			return fmt.Sprintf("%d bytes where %d are due", p.data.length, need)
		}
		return ""
	}
	// The old form: a bit of the samples' words that holds no sample (PS3.5
	// section 8.1.2 of 2004, since retired).
	position := d.number(tag.Tag{Group: o.Group, Element: overlayPosition})
	p.bit = int(position.Value)
	switch {
	case !position.Known || !allocated.Known || allocated.Value <= 1:
		return "no bits are there"
	case p.bit < 0 || p.bit >= h.BitsAllocated || p.bit <= h.HighBit && p.bit > h.HighBit-h.BitsStored:
		return fmt.Sprintf("bit %d of the samples holds no overlay", p.bit)
	case o.Rows != h.Rows || o.Columns != h.Columns || h.SamplesPerPixel != 1:
		return fmt.Sprintf("%d by %d pixels in samples of a frame of %d by %d", o.Columns, o.Rows, h.Columns, h.Rows)
	}
	return ""
}

// over gives the overlays of frames first to last: those of a single frame, or
// those that are the same for all.
func (f *File) over(first, last int) ([]imaging.Overlay, error) {
	var out []imaging.Overlay
	for _, p := range f.planes {
		if !p.all && (first != last || first < p.first || first >= p.first+p.frames) || first != last && p.bit >= 0 {
			continue
		}
		o := p.about
		var err error
		if o.Bits, err = f.planeBits(p, first); err != nil {
			return nil, fmt.Errorf("overlay %04X: %w", o.Group, err)
		}
		out = append(out, o)
	}
	return out, nil
}

func (f *File) planeBits(p *plane, frame int) ([]byte, error) {
	if p.bit >= 0 {
		return f.embedded(p, frame)
	}
	if !p.all {
		return f.packed(p, frame-p.first)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bits == nil {
		bits, err := f.packed(p, 0)
		if err != nil {
			return nil, err
		}
		p.bits = bits
	}
	return p.bits, nil
}

// packed reads frame i, from 0, of Overlay Data, which follow each other
// without padding (PS3.3 C.9.3).
func (f *File) packed(p *plane, i int) ([]byte, error) {
	count := int64(p.about.Rows) * int64(p.about.Columns)
	start := int64(i) * count
	from, to := start/8, (start+count+7)/8
	words := p.data.vr != "OB" && f.order == binary.BigEndian // bytes of a word lie the other way round
	if words {
		from, to = from&^1, min((to+1)&^1, int64(p.data.length))
	}
	raw := make([]byte, to-from, to-from+1)
	if got, err := f.src.ReadAt(raw, p.data.offset+from); got < len(raw) {
		if err == nil || errors.Is(err, io.EOF) {
			err = fmt.Errorf("%w: the file ends within it; copy the file again", imaging.ErrDamaged)
		}
		return nil, err
	}
	if words {
		for k := 0; k+1 < len(raw); k += 2 {
			raw[k], raw[k+1] = raw[k+1], raw[k]
		}
	}
	skip := int(start - 8*from)
	raw = append(raw[skip/8:], 0)
	bits := make([]byte, (count+7)/8)
	for k := range bits {
		v := uint16(raw[k])
		if k+1 < len(raw) {
			v |= uint16(raw[k+1]) << 8
		}
		bits[k] = byte(v >> (skip % 8))
	}
	if rest := count % 8; rest != 0 {
		bits[len(bits)-1] &= 1<<rest - 1
	}
	return bits, nil
}

// embedded reads an overlay out of the bits beside the samples.
func (f *File) embedded(p *plane, frame int) ([]byte, error) {
	l := f.layout()
	l.BitsStored, l.HighBit, l.Signed = l.BitsAllocated, l.BitsAllocated-1, false
	words, err := f.decode(nil, frame, l)
	if err != nil {
		return nil, err
	}
	bits := make([]byte, (len(words)+7)/8)
	for i, w := range words {
		bits[i>>3] |= byte(w>>p.bit&1) << (i & 7)
	}
	return bits, nil
}
