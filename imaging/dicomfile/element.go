package dicomfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// Limits of a header. They are far above what an X-ray object needs and keep a
// hostile one from costing memory or time.
const (
	maxNesting  = 32      // sequences within sequences
	maxElements = 1 << 20 // elements before the pixel data
	maxValue    = 1 << 20 // bytes of one value that is kept
	maxKept     = 1 << 25 // bytes of all that is kept
	maxItems    = 256     // items kept of one sequence, but for those of frames
	// What an item and an element take in memory beside their values.
	itemRoom    = 512
	elementRoom = 64
)

const undefinedLength = 0xffffffff

// element is one data element of which the value is kept (PS3.5 section 7).
type element struct {
	tag    tag.Tag
	vr     string // as encoded, or by the dictionary where it is not
	offset int64  // of the value, in the (inflated) file
	length uint32 // as encoded
	value  []byte
	items  []elements // of a sequence
}

type elements map[tag.Tag]element

// scanner walks the elements of a file. It reads through a window, and passes
// over the values nobody wants without reading them.
type scanner struct {
	src  io.ReaderAt
	size int64 // bytes in src; unbounded where not known
	pos  int64

	room   []byte // of the window
	window []byte
	start  int64 // of the window in src

	order    binary.ByteOrder
	implicit bool
	seen     int
	kept     int64
}

const unbounded = 1 << 62

func newScanner(src io.ReaderAt, size int64) *scanner {
	return &scanner{src: src, size: size, order: binary.LittleEndian}
}

// peek gives the next n bytes (at most a window's) without moving on; fewer,
// with io.EOF, at the end. They stay good until the next peek.
func (s *scanner) peek(n int) ([]byte, error) {
	if s.pos >= s.start && s.pos+int64(n) <= s.start+int64(len(s.window)) {
		i := s.pos - s.start
		return s.window[i : i+int64(n)], nil
	}
	if s.room == nil {
		s.room = make([]byte, 1<<13)
	}
	got, err := s.src.ReadAt(s.room, s.pos)
	s.window, s.start = s.room[:got], s.pos
	if got >= n {
		return s.window[:n], nil
	}
	if err == nil || errors.Is(err, io.EOF) {
		return s.window, io.EOF
	}
	return nil, err
}

// read gives the next n bytes in a slice of their own and moves on.
func (s *scanner) read(n int) ([]byte, error) {
	out := make([]byte, n)
	if s.pos >= s.start && s.pos+int64(n) <= s.start+int64(len(s.window)) {
		copy(out, s.window[s.pos-s.start:])
	} else if got, err := s.src.ReadAt(out, s.pos); got < n {
		if err == nil || errors.Is(err, io.EOF) {
			err = fmt.Errorf("%w: the file ends within the header, at byte %d", imaging.ErrDamaged, s.pos+int64(got))
		}
		return nil, err
	}
	s.pos += int64(n)
	return out, nil
}

func (s *scanner) damaged(at int64, format string, args ...any) error {
	return fmt.Errorf("%w: byte %d: %s", imaging.ErrDamaged, at, fmt.Sprintf(format, args...))
}

// short are the value representations with a 16-bit length (PS3.5 7.1.2). The
// others, and any that is not known, have one of 32 bits, as PS3.5 6.2 promises
// of later ones.
var short = func() map[string]string {
	m := map[string]string{}
	for vr := range strings.FieldsSeq("AE AS AT CS DA DS DT FL FD IS LO LT PN SH SL SS ST TM UI UL US") {
		m[vr] = vr
	}
	return m
}()

func letters(b []byte) bool {
	return len(b) >= 2 && b[0] >= 'A' && b[0] <= 'Z' && b[1] >= 'A' && b[1] <= 'Z'
}

// head reads tag, value representation and length.
func (s *scanner) head() (e element, err error) {
	at := s.pos
	b, err := s.peek(12)
	if err != nil && (!errors.Is(err, io.EOF) || len(b) < 8) {
		if errors.Is(err, io.EOF) {
			if len(b) == 0 {
				return e, io.EOF
			}
			return e, s.damaged(at, "the file ends within an element's head")
		}
		return e, err
	}
	s.seen++
	if s.seen > maxElements {
		return e, s.damaged(at, "more than %d elements before the pixel data", maxElements)
	}
	e.tag = tag.Tag{Group: s.order.Uint16(b), Element: s.order.Uint16(b[2:])}
	used := 8
	switch {
	case e.tag.Group == tag.GroupSeqItem || s.implicit:
		e.length = s.order.Uint32(b[4:])
		if s.implicit {
			e.vr = dictionaryVR(e.tag)
		}
	case !letters(b[4:]):
		return e, s.damaged(at, "element %s has no value representation", e.tag)
	default:
		if vr, ok := short[string(b[4:6])]; ok {
			e.vr, e.length = vr, uint32(s.order.Uint16(b[6:]))
			break
		}
		if len(b) < 12 {
			return e, s.damaged(at, "the file ends within the head of element %s", e.tag)
		}
		e.vr, e.length, used = string(b[4:6]), s.order.Uint32(b[8:]), 12
	}
	s.pos += int64(used)
	e.offset = s.pos
	return e, nil
}

func dictionaryVR(t tag.Tag) string {
	if inOverlay(t) {
		return overlayVR[t.Element]
	}
	if info, err := tag.Find(t); err == nil && len(info.VRs) > 0 {
		return info.VRs[0]
	}
	return "UN"
}

// wanted says whether the value of a top-level element is kept.
type wanted func(tag.Tag) bool

// walk reads elements up to byte end, or to the pixel data, which it leaves
// unread and returns as pixel (zero where there are none).
func (s *scanner) walk(end int64, want wanted) (kept elements, pixel element, err error) {
	kept = elements{}
	for s.pos < end {
		e, err := s.head()
		if errors.Is(err, io.EOF) {
			return kept, pixel, nil
		}
		if err != nil {
			return kept, pixel, err
		}
		switch e.tag {
		case tag.PixelData, floatPixelData, doubleFloatPixelData:
			return kept, e, nil
		}
		// Of any length, and read when they are needed.
		table := e.tag == extendedOffsets || e.tag == extendedLengths || e.tag.Element == overlayData && overlayGroup(e.tag.Group)
		if err := s.finish(&e, end, want(e.tag) && !table, 0); err != nil {
			return kept, pixel, err
		}
		if _, twice := kept[e.tag]; want(e.tag) && !twice {
			kept[e.tag] = e
		}
	}
	return kept, pixel, nil
}

// inItems are the elements kept of the items of a kept sequence.
var inItems = func() map[tag.Tag]bool {
	m := map[tag.Tag]bool{
		tag.LUTDescriptor: true, tag.LUTExplanation: true, tag.LUTData: true,
		tag.CodeValue: true, tag.CodingSchemeDesignator: true, tag.CodeMeaning: true,
	}
	for _, t := range groupTags {
		m[t] = true
	}
	return m
}()

var (
	floatPixelData       = tag.Tag{Group: 0x7fe0, Element: 0x0008}
	doubleFloatPixelData = tag.Tag{Group: 0x7fe0, Element: 0x0009}
)

// finish reads or passes over the value of e, which must end by byte end.
func (s *scanner) finish(e *element, end int64, keep bool, depth int) error {
	if e.length == undefinedLength {
		return s.sequence(e, end, keep, depth)
	}
	if left := min(end, s.size) - s.pos; int64(e.length) > left {
		return s.damaged(e.offset, "element %s claims %d bytes, %d are left", e.tag, e.length, max(0, left))
	}
	switch {
	case keep && e.vr == "SQ":
		return s.sequence(e, s.pos+int64(e.length), true, depth)
	case keep:
		if e.length > maxValue {
			return s.damaged(e.offset, "element %s claims %d bytes, far more than it can need", e.tag, e.length)
		}
		err := s.keep(e.offset, int64(e.length)+elementRoom)
		if err != nil {
			return err
		}
		e.value, err = s.read(int(e.length))
		return err
	}
	s.pos += int64(e.length)
	return nil
}

// keep counts n more bytes of memory.
func (s *scanner) keep(at, n int64) error {
	if s.kept += n; s.kept > maxKept {
		return s.damaged(at, "the header holds more than %d bytes", maxKept)
	}
	return nil
}

// sequence reads the items of a sequence (PS3.5 7.5), or of a value in
// fragments, up to its delimiter or byte end.
func (s *scanner) sequence(e *element, end int64, keep bool, depth int) error {
	if depth >= maxNesting {
		return s.damaged(e.offset, "sequences nested deeper than %d", maxNesting)
	}
	// An element of unknown representation and undefined length is a sequence
	// in implicit VR little endian, whatever holds it (PS3.5 6.2.2 note 2).
	if e.vr == "UN" && !s.implicit {
		order := s.order
		s.implicit, s.order = true, binary.LittleEndian
		defer func() { s.implicit, s.order = false, order }()
	}
	open := e.length == undefinedLength
	for open || s.pos < end {
		item, err := s.head()
		if err != nil {
			if errors.Is(err, io.EOF) {
				return s.damaged(e.offset, "the file ends within sequence %s", e.tag)
			}
			return err
		}
		switch item.tag {
		case tag.SequenceDelimitationItem:
			if open {
				return nil
			}
			return s.damaged(item.offset, "sequence %s ends before its length", e.tag)
		case tag.Item:
		default:
			return s.damaged(item.offset, "sequence %s holds element %s where an item should be", e.tag, item.tag)
		}
		if keep {
			if most := itemsOf(e.tag); len(e.items) >= most {
				return s.damaged(item.offset, "sequence %s holds more than %d items", e.tag, most)
			}
			if err := s.keep(item.offset, itemRoom); err != nil {
				return err
			}
		}
		inner, err := s.item(item, end, keep, depth+1)
		if err != nil {
			return err
		}
		if keep {
			e.items = append(e.items, inner)
		}
	}
	return nil
}

func itemsOf(sequence tag.Tag) int {
	if sequence == tag.PerFrameFunctionalGroupsSequence {
		return maxFrames
	}
	return maxItems
}

func (s *scanner) item(item element, end int64, keep bool, depth int) (elements, error) {
	open := item.length == undefinedLength
	if !open {
		if left := min(end, s.size) - s.pos; int64(item.length) > left {
			return nil, s.damaged(item.offset, "an item claims %d bytes, %d are left", item.length, max(0, left))
		}
		if !keep {
			s.pos += int64(item.length)
			return nil, nil
		}
		end = s.pos + int64(item.length)
	}
	kept := elements{}
	for open || s.pos < end {
		e, err := s.head()
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil, s.damaged(item.offset, "the file ends within an item")
			}
			return nil, err
		}
		if e.tag == tag.ItemDelimitationItem && open {
			return kept, nil
		}
		wanted := keep && inItems[e.tag]
		if err := s.finish(&e, end, wanted, depth); err != nil {
			return nil, err
		}
		if _, twice := kept[e.tag]; wanted && !twice {
			kept[e.tag] = e
		}
	}
	return kept, nil
}
