package dicomfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/codec"
)

// Set is the data elements of a file before its pixel data, or those of one item
// of a sequence, read within the limits of a header. It serves what no image
// header keeps: reports, and attributes that only one reader asks for.
type Set struct{ data *dataset }

// Set reads the elements of an image before its pixel data. Errors are those of
// ReadSet.
func (f *File) Set() (Set, error) {
	data, err := readSet(f.src, unbounded, !f.known)
	if err != nil {
		return Set{}, fmt.Errorf("%s: %w", f.Header.File, err)
	}
	return Set{data}, nil
}

// ReadSet reads a file of size bytes, whichever its class. Values of groups of odd
// number, and bulk, are passed over. Errors wrap imaging.ErrNotDICOM,
// ErrUnsupported or ErrDamaged.
func ReadSet(src io.ReaderAt, size int64) (Set, error) {
	data, err := readSet(src, size, false)
	return Set{data}, err
}

// readSet reads src; inflated: it is no longer deflated, though its header says so.
func readSet(src io.ReaderAt, size int64, inflated bool) (*dataset, error) {
	s := newScanner(src, size)
	meta, err := s.fileMeta()
	if err != nil {
		return nil, err
	}
	uid := meta.code(tag.TransferSyntaxUID)
	if uid == "" {
		if uid, err = s.guessSyntax(); err != nil {
			return nil, err
		}
	}
	syntax, err := codec.Lookup(uid)
	if err != nil && syntax.Name == "" {
		return nil, err
	}
	if syntax.Deflated && !inflated {
		sp, err := newSpool(src, s.pos, size)
		if err != nil {
			return nil, err
		}
		defer sp.Close()
		at := s.pos
		s = newScanner(sp, unbounded)
		s.pos = at
	}
	s.implicit = syntax.ImplicitVR
	if syntax.BigEndian {
		s.order = binary.BigEndian
	}
	s.checkVR()
	kept, err := s.all(s.size, false, 0)
	if err != nil {
		return nil, err
	}
	data := &dataset{elements: kept, order: s.order}
	data.text = newText(data.codes(tag.SpecificCharacterSet))
	return data, nil
}

// all reads elements with the sequences among them to byte end, to an item's
// delimiter where it is open, or to the pixel data.
func (s *scanner) all(end int64, open bool, depth int) (elements, error) {
	if depth > maxNesting {
		return nil, s.damaged(s.pos, "sequences nested deeper than %d", maxNesting)
	}
	kept := elements{}
	for open || s.pos < end {
		e, err := s.head()
		switch {
		case errors.Is(err, io.EOF) && depth == 0:
			return kept, nil
		case errors.Is(err, io.EOF):
			return nil, s.damaged(s.pos, "the file ends within an item")
		case err != nil:
			return nil, err
		case e.tag == tag.ItemDelimitationItem && open:
			return kept, nil
		case e.tag == tag.PixelData, e.tag == floatPixelData, e.tag == doubleFloatPixelData:
			return kept, nil
		}
		if err := s.value(&e, end, depth); err != nil {
			return nil, err
		}
		if _, twice := kept[e.tag]; !twice {
			kept[e.tag] = e
		}
	}
	return kept, nil
}

// value reads the value of e whole: bytes, or items.
func (s *scanner) value(e *element, end int64, depth int) error {
	private := e.tag.Group%2 == 1
	if e.vr != "SQ" || private {
		wanted := !private && e.length <= maxValue && e.vr != "UN" && e.vr != "OB" && e.vr != "OW"
		return s.finish(e, end, wanted, depth)
	}
	open := e.length == undefinedLength
	if !open {
		if left := min(end, s.size) - s.pos; int64(e.length) > left {
			return s.damaged(e.offset, "element %s claims %d bytes, %d are left", e.tag, e.length, max(0, left))
		}
		end = s.pos + int64(e.length)
	}
	for open || s.pos < end {
		item, err := s.head()
		switch {
		case errors.Is(err, io.EOF):
			return s.damaged(e.offset, "the file ends within sequence %s", e.tag)
		case err != nil:
			return err
		case item.tag == tag.SequenceDelimitationItem && open:
			return nil
		case item.tag != tag.Item:
			return s.damaged(item.offset, "sequence %s holds element %s where an item should be", e.tag, item.tag)
		case s.pos >= s.size && s.size != unbounded && item.length != 0:
			return s.damaged(e.offset, "the file ends within sequence %s", e.tag)
		}
		if err := s.keep(item.offset, itemRoom); err != nil {
			return err
		}
		stop := end
		undefined := item.length == undefinedLength
		if !undefined {
			if left := min(end, s.size) - s.pos; int64(item.length) > left {
				return s.damaged(item.offset, "an item claims %d bytes, %d are left", item.length, max(0, left))
			}
			stop = s.pos + int64(item.length)
		}
		inner, err := s.all(stop, undefined, depth+1)
		if err != nil {
			return err
		}
		e.items = append(e.items, inner)
	}
	return nil
}

// Code is the first value of a string of the default repertoire: AE, AS, CS, DA,
// DS, DT, IS, TM or UI. Empty where it is not given.
func (s Set) Code(t tag.Tag) string { return s.data.code(t) }

// Text is the first value of a string in the file's character set.
func (s Set) Text(t tag.Tag) string { return s.data.line(t) }

// Number is the first value of DS, IS or a binary number; not known where it is
// not given or no finite number.
func (s Set) Number(t tag.Tag) imaging.Number { return s.data.number(t) }

// Items of a sequence, none where it is not given.
func (s Set) Items(t tag.Tag) []Set {
	var out []Set
	for _, it := range s.data.elements[t].items {
		out = append(out, Set{&dataset{elements: it, order: s.data.order, text: s.data.text}})
	}
	return out
}
