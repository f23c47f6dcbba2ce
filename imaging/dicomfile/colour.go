package dicomfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/codec"
)

// maxColourPixels of a frame: each takes five bytes in memory.
const maxColourPixels = 1 << 25

// Transfer syntaxes whose colour frames are read.
const (
	rleLossless  = "1.2.840.10008.1.2.5"
	jpegBaseline = "1.2.840.10008.1.2.4.50"
)

// colour is how a frame of more than one sample a pixel, or of a palette, is
// put together (PS3.3 C.7.6.3.1.2, C.7.6.3.1.3, C.7.9).
type colour struct {
	planar  bool         // all samples of one colour, then those of the next
	ybr     bool         // Y, CB, CR by ITU-R BT.601, full range
	halved  bool         // YBR_FULL_422: CB and CR of every second pixel only
	palette []color.RGBA // of each sample value
	first   int          // stored value of palette[0]
	value   func(s uint16) int
}

// coloured reads what makes a frame coloured; nil for a grayscale image. An
// error means that it cannot be shown as it is.
func (d *dataset) coloured(h *imaging.Header) (*colour, error) {
	refuse := func(why string) (*colour, error) {
		return nil, fmt.Errorf("%w: a colour image (%s, %d samples a pixel) %s; convert it to RGB of 8 bits with a DICOM toolkit first",
			imaging.ErrUnsupported, orNone(h.Photometric), h.SamplesPerPixel, why)
	}
	switch {
	case h.SamplesPerPixel == 1 && (h.Photometric == "MONOCHROME1" || h.Photometric == "MONOCHROME2" || h.Photometric == ""):
		return nil, nil
	case h.SamplesPerPixel == 1 && h.Photometric == "PALETTE COLOR":
		return d.paletted(h, refuse)
	case h.SamplesPerPixel != 3:
		return refuse("cannot be shown")
	case h.BitsAllocated != 8 || h.BitsStored != 8 || h.Signed:
		return refuse(fmt.Sprintf("has %d of %d bits a sample", h.BitsStored, h.BitsAllocated))
	}
	c := &colour{}
	switch h.Photometric {
	case "RGB":
	case "YBR_FULL":
		c.ybr = true
	case "YBR_FULL_422":
		c.ybr, c.halved = true, true
	default:
		return refuse("is of a kind that is not read")
	}
	planar, given, err := d.whole(tag.PlanarConfiguration, 0, 1)
	if err != nil {
		return nil, err
	}
	if !given {
		d.note(tag.PlanarConfiguration, "not given; read as 0")
	}
	c.planar = planar == 1
	switch h.TransferSyntax {
	case codec.ImplicitLittleEndian, codec.ExplicitLittleEndian, codec.ExplicitBigEndian, codec.Deflated:
		if c.halved && (c.planar || h.Columns%2 != 0) {
			return refuse("halves its colours along rows of odd length or in planes")
		}
	case rleLossless:
		if c.halved {
			return refuse("halves its colours, as run lengths cannot")
		}
	case jpegBaseline:
		c.halved = false // the stream says how
	default:
		s, _ := codec.Lookup(h.TransferSyntax)
		return refuse("compressed with " + orNone(s.Name))
	}
	return c, nil
}

func orNone(s string) string {
	if s == "" {
		return "not stated"
	}
	return shorten(s)
}

// paletted reads the three tables of a palette (PS3.3 C.7.9), of which the top
// eight bits are shown.
func (d *dataset) paletted(h *imaging.Header, refuse func(string) (*colour, error)) (*colour, error) {
	c := &colour{value: h.StoredValue}
	tables := [3]struct{ descriptor, data, segmented tag.Tag }{
		{tag.RedPaletteColorLookupTableDescriptor, tag.RedPaletteColorLookupTableData, tag.SegmentedRedPaletteColorLookupTableData},
		{tag.GreenPaletteColorLookupTableDescriptor, tag.GreenPaletteColorLookupTableData, tag.SegmentedGreenPaletteColorLookupTableData},
		{tag.BluePaletteColorLookupTableDescriptor, tag.BluePaletteColorLookupTableData, tag.SegmentedBluePaletteColorLookupTableData},
	}
	for i, t := range tables {
		desc := d.numbers(t.descriptor)
		if len(desc) != 3 {
			return refuse("has no palette")
		}
		if _, ok := d.elements[t.data]; !ok {
			if _, ok := d.elements[t.segmented]; ok {
				return refuse("has a palette in segments")
			}
			return refuse("has no palette")
		}
		entries, first, bits := int(desc[0]), int(desc[1]), int(desc[2])
		if entries <= 0 { // 0 stands for 65536; an SS descriptor wraps
			entries += 1 << 16
		}
		if h.Signed && first > math.MaxInt16 {
			first -= 1 << 16
		} else if !h.Signed && first < 0 {
			first += 1 << 16
		}
		if i == 0 {
			c.palette, c.first = make([]color.RGBA, entries), first
		}
		data := d.elements[t.data].value
		if bits != 8 && bits != 16 || entries != len(c.palette) || first != c.first {
			return refuse("has a palette that does not hold together")
		}
		wide := len(data) >= 2*entries
		if !wide && (bits != 8 || len(data) < entries) {
			return refuse("has a palette that is cut short")
		}
		swapped := d.elements[t.data].vr != "OB" && d.order == binary.BigEndian
		for k := range c.palette {
			var v uint8
			switch {
			case wide && bits == 16:
				v = uint8(d.order.Uint16(data[2*k:]) >> 8)
			case wide:
				v = uint8(d.order.Uint16(data[2*k:]))
			case swapped && k^1 < len(data):
				v = data[k^1]
			default:
				v = data[k]
			}
			*[3]*uint8{&c.palette[k].R, &c.palette[k].G, &c.palette[k].B}[i] = v
		}
	}
	return c, nil
}

// samples a pixel takes as it is stored natively, in bytes times two.
func (c *colour) halfBytes(h *imaging.Header) int64 {
	switch {
	case c == nil || c.palette != nil:
		return 2 * int64(h.BitsAllocated/8)
	case c.halved:
		return 4
	}
	return 6
}

// shown gives the picture of frame n, three bytes a pixel, and its samples:
// the brightness, or a palette's values.
func (f *File) shown(n int) (rgb []uint8, samples []uint16, err error) {
	if f.colour.palette != nil {
		samples, err = f.decode(nil, n, f.layout())
		if err != nil {
			return nil, nil, err
		}
		return f.colour.look(samples), samples, nil
	}
	if f.parts != nil {
		rgb, err = f.unpackColour(n)
	} else {
		rgb, err = f.nativeColour(n)
	}
	if err != nil {
		return nil, nil, err
	}
	return rgb, brightness(rgb), nil
}

// colourMean fills in the picture and samples of a frame, or the mean of a
// span; of a palette the colours are averaged, and the values are those of the
// first frame. With an error it gives the frame it arose in.
func (f *File) colourMean(out *imaging.Frame) (n int, err error) {
	if out.RGB, out.Samples, err = f.shown(out.First); err != nil || out.Last == out.First {
		return out.First, err
	}
	sum := make([]uint32, len(out.RGB))
	for i, v := range out.RGB {
		sum[i] = uint32(v)
	}
	for n := out.First + 1; n <= out.Last; n++ {
		rgb, _, err := f.shown(n)
		if err != nil {
			return n, err
		}
		for i, v := range rgb {
			sum[i] += uint32(v)
		}
	}
	count := uint32(out.Last - out.First + 1)
	for i, v := range sum {
		out.RGB[i] = uint8((v + count/2) / count)
	}
	if f.colour.palette == nil {
		out.Samples = brightness(out.RGB)
	}
	return 0, nil
}

func (c *colour) look(samples []uint16) []uint8 {
	rgb := make([]uint8, 0, 3*len(samples))
	for _, s := range samples {
		p := c.palette[min(max(c.value(s)-c.first, 0), len(c.palette)-1)]
		rgb = append(rgb, p.R, p.G, p.B)
	}
	return rgb
}

// brightness is the luma of ITU-R BT.601, as YBR_FULL has it.
func brightness(rgb []uint8) []uint16 {
	out := make([]uint16, len(rgb)/3)
	for i := range out {
		r, g, b := uint32(rgb[3*i]), uint32(rgb[3*i+1]), uint32(rgb[3*i+2])
		out[i] = uint16((299*r + 587*g + 114*b + 500) / 1000)
	}
	return out
}

// nativeColour puts an uncompressed frame together.
func (f *File) nativeColour(n int) ([]uint8, error) {
	h, c := f.Header, f.colour
	size := f.frameBytes()
	from := int64(n-1) * size
	if from+size > h.PixelData.Length {
		return nil, fmt.Errorf("%w: its pixel data end at byte %d of %d; copy the file again", imaging.ErrDamaged, max(0, h.PixelData.Length-from), size)
	}
	src := make([]byte, 0, size)
	buf := make([]byte, min(size, strip)+2)
	for done := int64(0); done < size; {
		n := min(size-done, strip)
		part, err := f.bytes(buf, from+done, n)
		if err != nil {
			return nil, err
		}
		src, done = append(src, part...), done+n
	}
	pixels := h.Columns * h.Rows
	rgb := src
	switch {
	case c.halved: // Y1 Y2 CB CR for each two pixels
		rgb = make([]uint8, 0, 3*pixels)
		for b := src; len(b) >= 4; b = b[4:] {
			rgb = append(rgb, b[0], b[2], b[3], b[1], b[2], b[3])
		}
	case c.planar:
		rgb = interleaved(src, pixels)
	}
	if c.ybr {
		toRGB(rgb)
	}
	return rgb, nil
}

// interleaved puts three planes of so many samples pixel by pixel.
func interleaved(planes []uint8, pixels int) []uint8 {
	out := make([]uint8, 3*pixels)
	for k := range 3 {
		for i, v := range planes[k*pixels : (k+1)*pixels] {
			out[3*i+k] = v
		}
	}
	return out
}

// toRGB turns Y, CB, CR of full range into R, G, B in place: the equations of
// PS3.3 C.7.6.3.1.2 solved for them, rounded to the nearest and cut to 0..255.
func toRGB(p []uint8) {
	cut := func(v float64) uint8 { return uint8(min(max(math.RoundToEven(v), 0), 255)) }
	for ; len(p) >= 3; p = p[3:] {
		y, b, r := float64(p[0]), float64(p[1])-128, float64(p[2])-128
		p[0], p[1], p[2] = cut(y+1.402*r), cut(y-(0.114*1.772*b+0.299*1.402*r)/0.587), cut(y+1.772*b)
	}
}

// unpackColour is nativeColour for a frame in fragments.
func (f *File) unpackColour(n int) ([]uint8, error) {
	h := f.Header
	pixels := h.Columns * h.Rows
	src, err := f.parts.frame(n, maxPacked*3*int64(pixels)+packedRoom)
	if err != nil {
		return nil, err
	}
	// Planes, picture and brightness are in memory at once: eight bytes a pixel.
	if 8*pixels > expandFrom && 8*pixels > maxExpansion*len(src) {
		return nil, fmt.Errorf("%w: %d bytes of pixel data are there for a frame of %d by %d; copy the file again", imaging.ErrDamaged, len(src), h.Columns, h.Rows)
	}
	if h.TransferSyntax == jpegBaseline {
		return f.jpegColour(src)
	}
	planes, err := f.runLengths(src, pixels)
	if err != nil {
		return nil, fmt.Errorf("%w; copy the file again, or export it uncompressed", err)
	}
	rgb := interleaved(planes, pixels)
	if f.colour.ybr {
		toRGB(rgb)
	}
	return rgb, nil
}

// runLengths decodes the three segments of a frame, one for each colour (PS3.5
// G.2), by handing each as a frame of its own to the decoder.
func (f *File) runLengths(src []byte, pixels int) ([]uint8, error) {
	const head = 64
	if len(src) < head || binary.LittleEndian.Uint32(src) != 3 {
		return nil, fmt.Errorf("%w: the frame is not in three segments", imaging.ErrDamaged)
	}
	l := f.layout()
	planes := make([]uint8, 0, 3*pixels)
	samples := make([]uint16, pixels)
	for k := range 3 {
		from, to := int64(binary.LittleEndian.Uint32(src[4+4*k:])), int64(len(src))
		if k < 2 {
			to = int64(binary.LittleEndian.Uint32(src[8+4*k:]))
		}
		if from < head || to < from || to > int64(len(src)) {
			return nil, fmt.Errorf("%w: segment %d lies outside the frame", imaging.ErrDamaged, k+1)
		}
		one := make([]byte, head, head+to-from)
		binary.LittleEndian.PutUint32(one, 1)
		binary.LittleEndian.PutUint32(one[4:], head)
		if err := f.syntax.Decode(samples, append(one, src[from:to]...), l); err != nil {
			return nil, err
		}
		for _, s := range samples {
			planes = append(planes, uint8(s))
		}
	}
	return planes, nil
}

// jpegColour decodes a baseline stream with three components. Photometric
// Interpretation says what they are; but they are Y, CB, CR whatever it says
// where the stream's own marker tells so (Adobe, ITU-T T.872 6.5.3), for the
// encoder knew, or where the second and third are halved, as no encoder does to
// G and B.
func (f *File) jpegColour(src []byte) ([]uint8, error) {
	h := f.Header
	broken := func(err any) error {
		return fmt.Errorf("%w: the JPEG stream: %v; copy the file again, or export it uncompressed", imaging.ErrDamaged, err)
	}
	if !sequential(src) {
		return nil, broken("it is not of baseline coding")
	}
	config, err := jpeg.DecodeConfig(bytes.NewReader(src))
	if err != nil {
		return nil, broken(strings.TrimPrefix(err.Error(), "invalid JPEG format: "))
	}
	if config.Width != h.Columns || config.Height != h.Rows {
		return nil, broken(fmt.Sprintf("a frame of %d by %d in an image of %d by %d", config.Width, config.Height, h.Columns, h.Rows))
	}
	img, err := jpeg.Decode(bytes.NewReader(src))
	if err != nil {
		return nil, broken(strings.TrimPrefix(err.Error(), "invalid JPEG format: "))
	}
	switch img := img.(type) {
	case *image.YCbCr:
		rgb := components(img, h.Columns, h.Rows)
		if f.colour.ybr || adobe(src) || img.SubsampleRatio != image.YCbCrSubsampleRatio444 {
			toRGB(rgb)
		}
		return rgb, nil
	case *image.RGBA: // the stream says that its components are R, G, B
		rgb := make([]uint8, 0, 3*h.Columns*h.Rows)
		for y := range h.Rows {
			for x := range h.Columns {
				i := img.PixOffset(x, y)
				rgb = append(rgb, img.Pix[i:i+3]...)
			}
		}
		return rgb, nil
	}
	return nil, broken("it has not three components")
}

// segment is the body of the first marker segment of a JPEG stream before its
// scan whose marker counts (ITU-T T.81 B.1.1.4), and the marker.
func segment(src []byte, counts func(marker byte) bool) (body []byte, marker byte) {
	for at := 2; at+4 <= len(src) && src[at] == 0xff; {
		marker, length := src[at+1], int(binary.BigEndian.Uint16(src[at+2:]))
		if marker == 0xda || at+2+length > len(src) {
			break
		}
		if counts(marker) {
			return src[at+4 : at+2+max(length, 2)], marker
		}
		at += 2 + length
	}
	return nil, 0
}

// adobe says whether a stream's own marker names Y, CB, CR.
func adobe(src []byte) bool {
	body, _ := segment(src, func(m byte) bool { return m == 0xee })
	return len(body) >= 12 && string(body[:5]) == "Adobe" && body[11] == 1
}

// sequential says whether a stream is of baseline or extended sequential DCT,
// whose work its length bounds; a scan of a progressive one may cost as much as
// a whole frame in a few bytes.
func sequential(src []byte) bool {
	_, marker := segment(src, func(m byte) bool { return m >= 0xc0 && m <= 0xcf && m != 0xc4 && m != 0xc8 && m != 0xcc })
	return marker == 0xc0 || marker == 0xc1
}
