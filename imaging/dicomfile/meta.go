package dicomfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/codec"
)

const (
	preamble       = 128
	mediaDirectory = "1.2.840.10008.1.3.10"
)

// fileMeta reads the File Meta Information (PS3.10 7.1), always explicit VR
// little endian, and leaves the scanner at the data set. Files without a
// preamble are read as far as they plainly hold DICOM.
func (s *scanner) fileMeta() (*dataset, error) {
	meta := &dataset{elements: elements{}, order: binary.LittleEndian}
	b, err := s.peek(preamble + 4)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	switch {
	case len(b) >= preamble+4 && string(b[preamble:]) == "DICM":
		s.pos = preamble + 4
	case looksBare(b):
	default:
		if bytes.HasPrefix(b, []byte("PK\x03\x04")) {
			return nil, fmt.Errorf("%w: a zip archive is %w; unpack it and open the folder", imaging.ErrNotDICOM, imaging.ErrUnsupported)
		}
		return nil, fmt.Errorf("%w: %s", imaging.ErrNotDICOM, whatElse(b))
	}
	end := int64(-1) // not known
	for {
		b, err := s.peek(4)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		// Where the group's length is known it says where the data set begins:
		// deflated bytes could look like one more element of group 2.
		if end >= 0 && s.pos >= end || len(b) < 4 || binary.LittleEndian.Uint16(b) != tag.MetadataGroup {
			return meta, nil
		}
		e, err := s.head()
		if err != nil {
			return nil, err
		}
		limit := s.size
		if end >= 0 && end <= s.size && e.offset+int64(e.length) <= end {
			limit = end
		}
		if e.length == undefinedLength {
			return nil, s.damaged(e.offset, "element %s of the file header has no length", e.tag)
		}
		keep := e.tag == tag.TransferSyntaxUID || e.tag == tag.MediaStorageSOPClassUID || e.tag == tag.FileMetaInformationGroupLength
		if err := s.finish(&e, limit, keep, 0); err != nil {
			return nil, err
		}
		if e.tag == tag.FileMetaInformationGroupLength && len(e.value) == 4 {
			end = s.pos + int64(binary.LittleEndian.Uint32(e.value))
		}
		if keep {
			meta.elements[e.tag] = e
		}
	}
}

// looksBare says whether a file without preamble begins with an element of
// group 2 or 8 that a data set may begin with.
func looksBare(b []byte) bool {
	if len(b) < 8 {
		return false
	}
	group, el := binary.LittleEndian.Uint16(b), binary.LittleEndian.Uint16(b[2:])
	if group == 2 && el <= 2 {
		return letters(b[4:])
	}
	if group != 8 || el > 0x18 {
		return false
	}
	n := binary.LittleEndian.Uint32(b[4:])
	return letters(b[4:]) || n <= 64
}

// whatElse names what a file is that is not DICOM, where that helps.
func whatElse(b []byte) string {
	switch {
	case len(b) == 0:
		return "the file is empty"
	case strings.HasPrefix(string(b), "\x89PNG"), strings.HasPrefix(string(b), "\xff\xd8\xff"), strings.HasPrefix(string(b), "BM"):
		return "it is a picture without a DICOM header; export the image as DICOM"
	}
	return "it has no DICOM header"
}

// guessSyntax tells implicit from explicit VR where the header does not say.
func (s *scanner) guessSyntax() (string, error) {
	b, err := s.peek(8)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	switch {
	case len(b) < 8:
		return "", s.damaged(s.pos, "the file ends within its header")
	case letters(b[4:]) && binary.BigEndian.Uint16(b) == 8:
		return codec.ExplicitBigEndian, nil
	case letters(b[4:]):
		return codec.ExplicitLittleEndian, nil
	}
	return codec.ImplicitLittleEndian, nil
}

// checkVR looks whether the data set is encoded as the header says, and else
// reads it as it is: some writers name explicit VR and write implicit, or the
// other way round.
func (s *scanner) checkVR() (note string) {
	b, err := s.peek(8)
	if err != nil {
		return ""
	}
	if explicit := letters(b[4:]); explicit == s.implicit {
		s.implicit = !explicit
		word := map[bool]string{true: "implicit", false: "explicit"}
		return fmt.Sprintf("Transfer Syntax UID (0002,0010): names %s VR, the data set is in %s", word[explicit], word[!explicit])
	}
	return ""
}
