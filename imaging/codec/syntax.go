// Package codec turns the bytes of one frame, as a transfer syntax stores
// them, into samples.
//
// The table below is the one place that knows the transfer syntaxes of DICOM
// by name: how the data set is encoded, whether the pixel data are in
// fragments, and which decoder reads them. A syntax without a decoder is known
// by name only, so that a person can be told what a file holds.
package codec

import (
	"fmt"
	"strings"

	"leadline/imaging"
)

// Decoder reads the samples of src into dst, in row order, shifted down so
// that the lowest stored bit is bit 0 and masked to BitsStored. Signed samples
// stay two's complement of BitsStored bits.
//
// A decoder of a syntax that is not encapsulated is given any run of whole
// samples; one of an encapsulated syntax is given the whole frame, and its
// errors are followed by what to do.
type Decoder func(dst []uint16, src []byte, l Layout) error

// Syntax is a transfer syntax (PS3.5 section 10 and annex A, PS3.6 annex A).
type Syntax struct {
	UID, Name    string
	ImplicitVR   bool
	BigEndian    bool
	Deflated     bool
	Encapsulated bool // pixel data are in fragments (PS3.5 A.4)
	// SingleFragment: a frame is one fragment (PS3.5 A.4.2 and A.4.11).
	SingleFragment bool
	Decode         Decoder // nil: not decoded here
	Instead        string  // where it is not: why, and what to do
}

// UIDs of the syntaxes that the rest of the program asks for by name.
const (
	ImplicitLittleEndian = "1.2.840.10008.1.2"
	ExplicitLittleEndian = "1.2.840.10008.1.2.1"
	Deflated             = "1.2.840.10008.1.2.1.99"
	ExplicitBigEndian    = "1.2.840.10008.1.2.2"
)

// table starts with what is known by name alone; each decoder's file adds its row.
var table = unread()

func register(list ...Syntax) {
	for _, s := range list {
		table[s.UID] = s
	}
}

// Lookup gives the syntax of a transfer syntax UID. Where it is not known, or
// its pixel data cannot be decoded, the error wraps imaging.ErrUnsupported,
// names the syntax and says what to do; the syntax is then still returned as
// far as it is known.
func Lookup(uid string) (Syntax, error) {
	s, ok := table[uid]
	if !ok {
		return Syntax{UID: uid}, fmt.Errorf("%w: transfer syntax %s is not known; convert the file to %s (Explicit VR Little Endian) with a DICOM toolkit first",
			imaging.ErrUnsupported, printable(uid), ExplicitLittleEndian)
	}
	if s.Decode == nil {
		return s, fmt.Errorf("%w: %s (transfer syntax %s): %s", imaging.ErrUnsupported, s.Name, s.UID, s.Instead)
	}
	return s, nil
}

// printable keeps what a UID may hold (PS3.5 9.1), so that a damaged one
// cannot disturb a message.
func printable(uid string) string {
	s := strings.Map(func(r rune) rune {
		if r == '.' || r >= '0' && r <= '9' {
			return r
		}
		return '?'
	}, uid)
	if len(s) > 64 {
		s = s[:64]
	}
	if s == "" {
		return "(none)"
	}
	return s
}
