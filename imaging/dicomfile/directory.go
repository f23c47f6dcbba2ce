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

// ErrDirectory is the kind of error for a directory of files (DICOMDIR), which
// ReadDirectory reads. It wraps ErrNoImage.
var ErrDirectory = fmt.Errorf("%w: a directory of files (DICOMDIR)", ErrNoImage)

// maxReferences are the files that a directory may name: far above a case, and
// above what a disc of single frames holds.
const maxReferences = 1 << 16

// Reference is what a directory of files says of one of them (PS3.3 F.3.2.2).
type Reference struct {
	Type        string   // Directory Record Type (0004,1430), such as IMAGE
	FileID      []string // Referenced File ID (0004,1500): folders and name, as written and not to be trusted
	SOPInstance string   // Referenced SOP Instance UID in File (0004,1511)
}

// ReadDirectory reads which files a directory of files (DICOMDIR, PS3.3 annex
// F, PS3.10 8.6) names, in the order of its records. It follows no offset and
// opens no file. name stands for it in messages. Errors wrap
// imaging.ErrNotDICOM, ErrDamaged or ErrUnsupported; what was read up to a
// damage is given beside the error.
func ReadDirectory(src io.ReaderAt, size int64, name string) ([]Reference, error) {
	found, err := readDirectory(newScanner(src, size))
	if err != nil {
		err = fmt.Errorf("%s: %w", name, err)
	}
	return found, err
}

func readDirectory(s *scanner) ([]Reference, error) {
	meta, err := s.fileMeta()
	if err != nil {
		return nil, err
	}
	syntax, err := codec.Lookup(meta.code(tag.TransferSyntaxUID))
	if err != nil {
		return nil, err
	}
	if syntax.Deflated || syntax.Encapsulated {
		return nil, fmt.Errorf("%w: a directory of files in %s", imaging.ErrUnsupported, syntax.Name)
	}
	s.implicit = syntax.ImplicitVR
	if syntax.BigEndian {
		s.order = binary.BigEndian
	}
	s.checkVR()
	for s.pos < s.size {
		e, err := s.head()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if e.tag == tag.DirectoryRecordSequence {
			return s.records(e)
		}
		if err := s.finish(&e, s.size, false, 0); err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("%w: it is no directory of files, or its records are missing", imaging.ErrDamaged)
}

// recordTags are the elements kept of a directory record.
var recordTags = map[tag.Tag]bool{
	tag.DirectoryRecordType: true, tag.ReferencedFileID: true, tag.ReferencedSOPInstanceUIDInFile: true,
}

// records reads the items of the Directory Record Sequence (0004,1220), one
// flat list whatever tree their offsets make.
func (s *scanner) records(e element) (found []Reference, err error) {
	open, end := e.length == undefinedLength, s.size
	if !open {
		end = min(end, e.offset+int64(e.length))
	}
	for s.pos < end {
		item, err := s.head()
		switch {
		case errors.Is(err, io.EOF):
			return found, nil
		case err != nil:
			return found, err
		case item.tag == tag.SequenceDelimitationItem:
			return found, nil
		case item.tag != tag.Item:
			return found, s.damaged(item.offset, "the records hold element %s where an item should be", item.tag)
		}
		d, err := s.record(item, end)
		if id := d.codes(tag.ReferencedFileID); len(id) > 0 {
			if len(found) == maxReferences {
				return found, fmt.Errorf("%w: it names more than %d files", imaging.ErrUnsupported, maxReferences)
			}
			found = append(found, Reference{Type: d.code(tag.DirectoryRecordType), FileID: id, SOPInstance: d.code(tag.ReferencedSOPInstanceUIDInFile)})
		}
		if err != nil {
			return found, err
		}
	}
	return found, nil
}

// record reads one directory record; of a damaged one, what comes before the
// damage.
func (s *scanner) record(item element, end int64) (*dataset, error) {
	d := &dataset{elements: elements{}, order: s.order}
	open := item.length == undefinedLength
	var cut error
	if !open {
		if left := end - s.pos; int64(item.length) > left {
			cut = s.damaged(item.offset, "a record claims %d bytes, %d are left", item.length, left)
		}
		end = min(end, s.pos+int64(item.length))
	}
	for s.pos < end {
		e, err := s.head()
		if errors.Is(err, io.EOF) {
			return d, s.damaged(item.offset, "the file ends within a record")
		}
		if err != nil {
			return d, err
		}
		if e.tag == tag.ItemDelimitationItem && open {
			break
		}
		keep := recordTags[e.tag]
		if err := s.finish(&e, end, keep, 1); err != nil {
			return d, err
		}
		if keep {
			s.kept -= int64(len(e.value)) // references are counted, not their bytes
			d.elements[e.tag] = e
		}
	}
	return d, cut
}
