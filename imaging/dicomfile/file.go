// Package dicomfile reads X-ray images from DICOM files and writes DICOM files.
//
// Open reads the header only, up to the pixel data; Frame then reads the bytes
// of the frames it is asked for, so a run of hundreds of frames costs what is
// looked at. The header is walked within limits: what an element claims is
// checked against what the file holds before anything is set aside for it. The
// files read are opened for reading only and never changed.
//
// Read are files of PS3.10 (and data sets without its preamble) in implicit and
// explicit VR little endian, explicit VR big endian, deflated and every
// compressed syntax that package codec decodes, of the X-ray angiographic,
// radiofluoroscopic (both enhanced ones among them), computed and digital
// radiography and secondary capture classes, single and multi-frame, 8 or 16
// bits allocated, signed or not; in colour 8 bits a sample, uncompressed, in run
// lengths or baseline JPEG. All else gives an error that says what it is.
package dicomfile

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/codec"
)

// File is an opened image file. Its methods may be called from several
// goroutines at once.
type File struct {
	Header *imaging.Header

	src    io.ReaderAt
	close  func() error
	syntax codec.Syntax
	// swapped: samples of 8 bits in words of a big endian file (PS3.5 A.3 with
	// VR OW): the second of each pair comes first.
	swapped bool
	known   bool       // the length of src is known
	parts   *fragments // of an encapsulated syntax
	order   binary.ByteOrder
	planes  []*plane // overlays
	colour  *colour  // nil for grayscale
}

// Open reads the header of the file at path. Errors wrap imaging.ErrNotDICOM,
// ErrUnsupported (ErrNoImage where there is no image), ErrDamaged or, where the
// path itself is no good, ErrBadInput. Close lets go of the file.
func Open(path string) (*File, error) {
	d, err := openDisk(path)
	if err != nil {
		return nil, err
	}
	f, err := New(d, d.info.Size(), path)
	if err != nil {
		d.Close()
		return nil, err
	}
	inner := f.close
	f.close = func() error { return errors.Join(inner(), d.Close()) }
	return f, d.rest()
}

// New reads the header of a file of size bytes; name stands for it in messages
// and in Header.File. src must be fit for use from several goroutines.
func New(src io.ReaderAt, size int64, name string) (*File, error) {
	f := &File{src: src, close: func() error { return nil }, known: true, Header: &imaging.Header{File: name}}
	if err := f.open(size); err != nil {
		f.close()
		if !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, imaging.ErrUnsupported) &&
			!errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrBadInput) {
			return nil, fmt.Errorf("%s: cannot be read: %w", name, err)
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return f, nil
}

func (f *File) open(size int64) error {
	h := f.Header
	s := newScanner(f.src, size)
	meta, err := s.fileMeta()
	if err != nil {
		return err
	}
	h.TransferSyntax = meta.code(tag.TransferSyntaxUID)
	if h.TransferSyntax == "" {
		h.TransferSyntax, err = s.guessSyntax()
		if err != nil {
			return err
		}
		h.Notes = append(h.Notes, "Transfer Syntax UID (0002,0010): not given; taken from the bytes as "+h.TransferSyntax)
	}
	if class := meta.code(tag.MediaStorageSOPClassUID); class == mediaDirectory {
		return fmt.Errorf("%w; open the folder that holds it", ErrDirectory)
	}
	syntax, unread := codec.Lookup(h.TransferSyntax)
	if unread != nil && !syntax.Encapsulated { // not known, or no file of images
		return unread
	}
	f.syntax = syntax
	if syntax.Deflated {
		sp, err := newSpool(f.src, s.pos, size)
		if err != nil {
			return err
		}
		f.src, f.close, f.known = sp, sp.Close, false
		at := s.pos
		s = newScanner(sp, unbounded)
		s.pos = at
	}
	s.implicit = syntax.ImplicitVR
	if syntax.BigEndian {
		s.order = binary.BigEndian
	}
	if note := s.checkVR(); note != "" {
		h.Notes = append(h.Notes, note)
	}
	f.order = s.order
	kept, pixel, err := s.walk(s.size, func(t tag.Tag) bool { return headerTags[t] || inOverlay(t) })
	if err != nil {
		return err
	}
	d := &dataset{elements: kept, order: s.order}
	if pixel.tag == (tag.Tag{}) {
		if class := d.code(tag.SOPClassUID); class == "" && len(kept) == 0 {
			return fmt.Errorf("%w: no data set follows the file header; copy the file again", imaging.ErrDamaged)
		} else if _, image := kinds[class]; !image {
			return fmt.Errorf("%w: it is %s", ErrNoImage, className(class))
		}
		return fmt.Errorf("%w: there are no pixel data; the file may be cut short: copy it again", imaging.ErrDamaged)
	}
	if err := d.header(h); err != nil {
		return err
	}
	if f.colour, err = d.coloured(h); err != nil {
		return err
	}
	if f.colour != nil && h.Columns*h.Rows > maxColourPixels {
		return fmt.Errorf("%w: colour frames of %d by %d pixels; up to %d pixels are read", imaging.ErrUnsupported, h.Columns, h.Rows, maxColourPixels)
	}
	f.planes = d.overlays(h)
	h.Notes = append(h.Notes, d.notes...)
	if unread != nil {
		return unread
	}
	if syntax.Encapsulated {
		return f.encapsulated(d, pixel, s)
	}
	return f.pixelData(pixel, s)
}

// encapsulated finds where fragments of frames begin.
func (f *File) encapsulated(d *dataset, e element, s *scanner) (err error) {
	if e.length != undefinedLength || e.tag != tag.PixelData {
		return fmt.Errorf("%w: the pixel data are not in fragments, as transfer syntax %s needs; export the file again", imaging.ErrDamaged, f.Header.TransferSyntax)
	}
	f.parts, err = newFragments(f.src, s.size, e.offset, f.Header.Frames)
	if err != nil {
		return err
	}
	f.parts.single = f.syntax.SingleFragment
	f.parts.offsets, f.parts.lengths = d.elements[extendedOffsets], d.elements[extendedLengths]
	return nil
}

// pixelData finds where the frames lie.
func (f *File) pixelData(e element, s *scanner) error {
	h := f.Header
	if e.tag != tag.PixelData {
		return fmt.Errorf("%w: the pixel data are floating point numbers", imaging.ErrUnsupported)
	}
	if e.length == undefinedLength {
		return fmt.Errorf("%w: the pixel data are in fragments, as transfer syntax %s does not allow; export the file again", imaging.ErrDamaged, h.TransferSyntax)
	}
	f.swapped = f.syntax.BigEndian && h.BitsAllocated == 8 && e.vr == "OW"
	length := int64(e.length)
	frame := f.frameBytes()
	if f.known {
		if left := s.size - e.offset; left < length {
			h.Notes = append(h.Notes, fmt.Sprintf("the file is cut short: %d of %d bytes of pixel data are there", max(0, left), length))
			length = max(0, left)
		}
	}
	h.PixelData = imaging.Extent{Offset: e.offset, Length: length}
	switch whole := length / frame; {
	case whole == 0:
		return fmt.Errorf("%w: %d bytes of pixel data are there, and one frame of %d by %d needs %d; copy the file again",
			imaging.ErrDamaged, length, h.Columns, h.Rows, frame)
	case whole < int64(h.Frames):
		h.Notes = append(h.Notes, fmt.Sprintf("%d frames are stated and %d are there whole", h.Frames, whole))
	}
	return nil
}

func (f *File) frameBytes() int64 {
	return int64(f.Header.Columns) * int64(f.Header.Rows) * f.colour.halfBytes(f.Header) / 2
}

// Frame gives frame first (from 1), or the mean of frames first to last: the
// mean of the stored values as numbers, rounded to the nearest, halves away
// from zero. It reads the bytes of those frames only. A number out of range
// gives imaging.ErrBadInput; a frame that is not wholly there ErrDamaged.
func (f *File) Frame(first, last int) (*imaging.Frame, error) {
	return f.FrameUntil(context.Background(), first, last, nil)
}

// FrameUntil is Frame for a long span: it ends with the context's error, between
// two frames, when ctx is done; progress, which may be nil, is told how many
// frames have been read.
func (f *File) FrameUntil(ctx context.Context, first, last int, progress func(done int)) (*imaging.Frame, error) {
	h := f.Header
	if progress == nil {
		progress = func(int) {}
	}
	if first < 1 || last < first || last > h.Frames {
		which := fmt.Sprintf("frame %d", first)
		if last != first {
			which = fmt.Sprintf("frames %d-%d", first, last)
		}
		return nil, fmt.Errorf("%s: %w: %s asked for, frames 1 to %d are there", h.File, imaging.ErrBadInput, which, h.Frames)
	}
	out := &imaging.Frame{Header: h.Of(first), First: first, Last: last, Columns: h.Columns, Rows: h.Rows}
	at := func(n int, err error) error { return fmt.Errorf("%s: frame %d of %d: %w", h.File, n, h.Frames, err) }
	var err error
	if out.Overlays, err = f.over(first, last); err != nil {
		return nil, at(first, err)
	}
	if f.colour != nil {
		n, err := f.colourMean(out)
		if err != nil {
			return nil, at(n, err)
		}
		return out, nil
	}
	layout := f.layout()
	if out.Samples, err = f.decode(nil, first, layout); err != nil {
		return nil, at(first, err)
	}
	if last == first {
		return out, nil
	}
	sum := make([]int64, len(out.Samples))
	for n := first; ; n++ {
		for i, s := range out.Samples {
			sum[i] += int64(h.StoredValue(s))
		}
		progress(n - first + 1)
		if n == last {
			break
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if _, err := f.decode(out.Samples, n+1, layout); err != nil {
			return nil, at(n+1, err)
		}
	}
	count := int64(last - first + 1)
	mask := uint16(1<<h.BitsStored - 1)
	for i, s := range sum {
		half := count / 2
		if s < 0 {
			half = -half
		}
		out.Samples[i] = uint16((s+half)/count) & mask
	}
	return out, nil
}

// layout of the samples of a frame.
func (f *File) layout() codec.Layout {
	h := f.Header
	return codec.Layout{Columns: h.Columns, Rows: h.Rows, BitsAllocated: h.BitsAllocated, BitsStored: h.BitsStored,
		HighBit: h.HighBit, Signed: h.Signed, ByteOrder: f.order}
}

// decode reads the samples of frame n into dst, or into new room where dst is
// nil: not before the file has shown to hold enough for it.
func (f *File) decode(dst []uint16, n int, layout codec.Layout) ([]uint16, error) {
	h := f.Header
	if f.parts != nil {
		return f.unpack(dst, n, layout)
	}
	size := f.frameBytes()
	from := int64(n-1) * size
	if from+size > h.PixelData.Length {
		return nil, fmt.Errorf("%w: its pixel data end at byte %d of %d; copy the file again", imaging.ErrDamaged, max(0, h.PixelData.Length-from), size)
	}
	if dst == nil {
		dst = make([]uint16, h.Columns*h.Rows)
	}
	width := int64(h.BitsAllocated / 8)
	buf := make([]byte, min(size, strip)+2)
	for done := int64(0); done < size; {
		n := min(size-done, strip)
		src, err := f.bytes(buf, from+done, n)
		if err != nil {
			return nil, err
		}
		if err := f.syntax.Decode(dst[done/width:(done+n)/width], src, layout); err != nil {
			return nil, err
		}
		done += n
	}
	return dst, nil
}

// strip is how much of a native frame is read at once.
const strip = 1 << 19

// unpack is decode for a frame in fragments.
func (f *File) unpack(dst []uint16, n int, layout codec.Layout) ([]uint16, error) {
	pixels := layout.Columns * layout.Rows
	size := 2 * int64(pixels) // as held in memory
	src, err := f.parts.frame(n, maxPacked*size+packedRoom)
	if err != nil {
		return nil, err
	}
	if size > expandFrom && size > maxExpansion*int64(len(src)) {
		return nil, fmt.Errorf("%w: %d bytes of pixel data are there for a frame of %d by %d; copy the file again",
			imaging.ErrDamaged, len(src), layout.Columns, layout.Rows)
	}
	if dst == nil {
		dst = make([]uint16, pixels)
	}
	switch err := f.syntax.Decode(dst, src, layout); {
	case errors.Is(err, imaging.ErrUnsupported):
		return nil, fmt.Errorf("%w; decompress the file with a DICOM toolkit first", err)
	case err != nil:
		return nil, fmt.Errorf("%w; copy the file again, or export it uncompressed", err)
	}
	return dst, nil
}

// bytes reads n bytes at off of the pixel data, in the order of the samples.
func (f *File) bytes(buf []byte, off, n int64) ([]byte, error) {
	p := f.Header.PixelData
	from, to := off, off+n
	if f.swapped {
		if from, to = off&^1, (to+1)&^1; to > p.Length { // the other byte of its word is not there
			return nil, fmt.Errorf("%w: the pixel data end at byte %d; copy the file again", imaging.ErrDamaged, p.Length)
		}
	}
	b := buf[:to-from]
	if got, err := f.src.ReadAt(b, p.Offset+from); got < len(b) {
		if err == nil || errors.Is(err, io.EOF) {
			err = fmt.Errorf("%w: the pixel data end at byte %d; copy the file again", imaging.ErrDamaged, from+int64(got))
		}
		return nil, err
	}
	if f.swapped {
		for i := 0; i+1 < len(b); i += 2 {
			b[i], b[i+1] = b[i+1], b[i]
		}
		b = b[off-from : off-from+n]
	}
	return b, nil
}

// Close lets go of the file; frames that were read stay good.
func (f *File) Close() error { return f.close() }
