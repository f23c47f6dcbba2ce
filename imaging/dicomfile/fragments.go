package dicomfile

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// Limits of encapsulated pixel data.
const (
	maxFragments = 1 << 20 // in one file
	// A frame may be packed into at most this many times its samples' bytes,
	// and packedRoom for what a stream says beside them. The worst that any of
	// the codings makes of noise is a little over twice.
	maxPacked  = 3
	packedRoom = 1 << 20 // bytes
	// A frame of more than expandFrom bytes of samples may be at most
	// maxExpansion times as large as its packed form, so that a small file
	// cannot ask for much memory.
	expandFrom   = 32 << 20
	maxExpansion = 512
)

// Extended Offset Table and its Lengths (PS3.3 C.7.6.3.1.8), newer than the
// library's dictionary.
var (
	extendedOffsets = tag.Tag{Group: 0x7fe0, Element: 0x0001}
	extendedLengths = tag.Tag{Group: 0x7fe0, Element: 0x0002}
)

// fragments finds the bytes of a frame in pixel data that come as a sequence
// of items (PS3.5 A.4): by a table of offsets where there is a sound one, which
// costs no look at other frames, else by walking all items.
type fragments struct {
	src    io.ReaderAt
	size   int64 // of src
	frames int   // stated
	// single: the coding puts a frame into one fragment (PS3.5 A.4.2).
	single bool

	first   int64   // where the first item after the Basic Offset Table begins
	basic   element // the Basic Offset Table's item
	offsets element // the Extended Offset Table; zero where there is none
	lengths element

	mu      sync.Mutex
	checked bool // the table of offsets
	unsound error
	walked  bool
	failed  error
	parts   []part // all fragments
	cut     bool   // the file ends before the sequence does
	starts  []int  // in parts, of each frame
}

// part is the value of one item.
type part struct{ offset, length int64 }

var errTable = errors.New("the offset table does not fit the fragments")

// newFragments reads the item that holds the Basic Offset Table.
func newFragments(src io.ReaderAt, size, at int64, frames int) (*fragments, error) {
	f := &fragments{src: src, size: size, frames: frames}
	p, item, err := f.item(at)
	if err != nil {
		return nil, err
	}
	if !item || p.offset+p.length > size {
		return nil, fmt.Errorf("%w: byte %d: no table of offsets begins the pixel data; copy the file again", imaging.ErrDamaged, at)
	}
	f.basic = element{offset: p.offset, length: uint32(p.length)}
	f.first = p.offset + p.length
	return f, nil
}

// item reads an item's head (PS3.5 7.5); item is false at the delimiter of the
// sequence.
func (f *fragments) item(at int64) (p part, item bool, err error) {
	var b [8]byte
	if err := f.read(b[:], at); err != nil {
		return p, false, err
	}
	p = part{at + 8, int64(binary.LittleEndian.Uint32(b[4:]))}
	switch (tag.Tag{Group: binary.LittleEndian.Uint16(b[:]), Element: binary.LittleEndian.Uint16(b[2:])}) {
	case tag.Item:
		if p.length == undefinedLength {
			return p, false, fmt.Errorf("%w: byte %d: a fragment without a length; copy the file again", imaging.ErrDamaged, at)
		}
		return p, true, nil
	case tag.SequenceDelimitationItem:
		return p, false, nil
	}
	return p, false, fmt.Errorf("%w: byte %d: no fragment begins where one should; copy the file again", imaging.ErrDamaged, at)
}

func (f *fragments) read(b []byte, at int64) error {
	got, err := f.src.ReadAt(b, at)
	if got == len(b) {
		return nil
	}
	if err == nil || errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: the file ends within the pixel data, at byte %d; copy the file again", imaging.ErrDamaged, at+int64(got))
	}
	return err
}

// frame gives the bytes of frame n (from 1), at most limit of them, padding
// included.
func (f *fragments) frame(n int, limit int64) ([]byte, error) {
	parts, err := f.byTable(n)
	if errors.Is(err, errTable) {
		parts, err = f.byWalk(n)
	}
	if err != nil {
		return nil, err
	}
	total := int64(0)
	for _, p := range parts {
		if p.offset+p.length > f.size {
			return nil, fmt.Errorf("%w: the file ends within its pixel data, at byte %d of %d; copy the file again",
				imaging.ErrDamaged, f.size, p.offset+p.length)
		}
		total += p.length
	}
	if total > limit {
		return nil, fmt.Errorf("%w: its compressed form has %d bytes, far more than its samples need", imaging.ErrDamaged, total)
	}
	b := make([]byte, total)
	for at := int64(0); len(parts) > 0; parts = parts[1:] {
		if err := f.read(b[at:at+parts[0].length], parts[0].offset); err != nil {
			return nil, err
		}
		at += parts[0].length
	}
	return b, nil
}

// byTable gives the fragments of a frame by a table of offsets, from the first
// item's head on; errTable where there is none, or it does not lead from the
// head of one item to the head of another.
func (f *fragments) byTable(n int) ([]part, error) {
	table, width := f.table()
	if err := f.check(); err != nil {
		return nil, err
	}
	entry := func(of element, i int) (int64, error) {
		var b [8]byte
		err := f.read(b[:width], of.offset+int64(i)*width)
		return int64(binary.LittleEndian.Uint64(b[:])), err
	}
	from, err := entry(table, n-1)
	if err != nil {
		return nil, err
	}
	to := int64(-1) // the last frame goes on to the end
	if n < f.frames {
		if to, err = entry(table, n); err != nil {
			return nil, err
		}
	}
	var parts []part
	for at := f.first + from; to < 0 || at < f.first+to; {
		p, item, err := f.item(at)
		if err != nil && !errors.Is(err, imaging.ErrDamaged) {
			return nil, err
		}
		if err == nil && !item && to < 0 && len(parts) > 0 {
			break
		}
		if err != nil || !item || len(parts) == maxFragments {
			return nil, errTable
		}
		parts = append(parts, p)
		at = p.offset + p.length
		if at > f.size {
			break // cut short, as frame says
		}
		if to >= 0 && at > f.first+to {
			return nil, errTable
		}
	}
	// The length that goes with an extended offset leaves the padding out.
	if width == 8 && int64(f.lengths.length) == int64(f.frames)*width && len(parts) == 1 {
		length, err := entry(f.lengths, n-1)
		if err != nil {
			return nil, err
		}
		if length > 0 && length <= parts[0].length {
			parts[0].length = length
		}
	}
	return parts, nil
}

// table is the table of offsets to go by, and the bytes of an entry.
func (f *fragments) table() (element, int64) {
	if f.offsets.length != 0 {
		return f.offsets, 8
	}
	return f.basic, 4
}

// check reads the table of offsets through, once: one for each frame, from 0
// and rising.
func (f *fragments) check() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.checked {
		return f.unsound
	}
	table, width := f.table()
	f.checked, f.unsound = true, errTable
	if int64(table.length) != int64(f.frames)*width {
		return errTable
	}
	r := bufio.NewReader(io.NewSectionReader(f.src, table.offset, int64(table.length)))
	last := int64(-1)
	for range f.frames {
		var b [8]byte
		if _, err := io.ReadFull(r, b[:width]); err != nil {
			return errTable
		}
		v := int64(binary.LittleEndian.Uint64(b[:]))
		if v <= last || last < 0 && v != 0 || v >= unbounded {
			return errTable
		}
		last = v
	}
	f.unsound = nil
	return nil
}

// byWalk gives the fragments of a frame without a table.
func (f *fragments) byWalk(n int) ([]part, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !f.walked {
		f.failed = f.walk()
		if f.failed == nil {
			f.failed = f.split()
		}
		f.walked = true
	}
	if f.failed != nil {
		return nil, f.failed
	}
	if n > len(f.starts) {
		return nil, fmt.Errorf("%w: the pixel data hold %d of %d frames; copy the file again", imaging.ErrDamaged, len(f.starts), f.frames)
	}
	end := len(f.parts)
	if n < len(f.starts) {
		end = f.starts[n]
	}
	return f.parts[f.starts[n-1]:end], nil
}

func (f *fragments) walk() error {
	for at := f.first; ; {
		if at+8 > f.size {
			f.cut = true
			return nil
		}
		p, item, err := f.item(at)
		if err != nil {
			return err
		}
		if !item {
			return nil
		}
		if len(f.parts) == maxFragments {
			return fmt.Errorf("%w: more than %d fragments of pixel data", imaging.ErrDamaged, maxFragments)
		}
		f.parts = append(f.parts, p)
		at = p.offset + p.length
	}
}

// split finds the fragment in which each frame starts: all belong to a single
// frame, or a frame starts where a stream of the JPEG family does, or each is a
// frame. Entropy-coded data hold no start of a stream.
func (f *fragments) split() error {
	if len(f.parts) == 0 {
		return fmt.Errorf("%w: there are no fragments of pixel data; copy the file again", imaging.ErrDamaged)
	}
	if f.frames == 1 {
		f.starts = []int{0}
		return nil
	}
	if !f.single {
		for i, p := range f.parts {
			var b [4]byte
			if p.length < 4 || p.offset+4 > f.size {
				continue
			}
			if err := f.read(b[:], p.offset); err != nil {
				return err
			}
			if streamStarts(b) {
				f.starts = append(f.starts, i)
			}
		}
		if len(f.starts) > 0 && f.starts[0] == 0 && (len(f.starts) >= f.frames || f.cut) {
			return nil
		}
	}
	if !f.single && len(f.parts) != f.frames {
		return fmt.Errorf("%w: %d fragments of pixel data do not tell where each of %d frames starts; export the file again with a table of offsets",
			imaging.ErrDamaged, len(f.parts), f.frames)
	}
	f.starts = f.starts[:0]
	for i := range f.parts {
		f.starts = append(f.starts, i)
	}
	return nil
}

// streamStarts says whether a frame of the JPEG family starts here: SOI and
// another marker (ITU-T T.81 B.2.1, T.87 C.1), or SOC and SIZ (ITU-T T.800 A.4).
func streamStarts(b [4]byte) bool {
	return b[0] == 0xff && (b[1] == 0xd8 && b[2] == 0xff && b[3] >= 0xc0 || b[1] == 0x4f && b[2] == 0xff && b[3] == 0x51)
}
