package dicomfile

import (
	"fmt"
	"strings"

	"github.com/suyashkumar/dicom/pkg/uid"

	"leadline/imaging"
)

// kinds are the SOP classes that are read (PS3.4 table B.5-1).
var kinds = map[string]imaging.Kind{
	"1.2.840.10008.5.1.4.1.1.12.1":   imaging.KindXA,
	"1.2.840.10008.5.1.4.1.1.12.2":   imaging.KindXRF,
	"1.2.840.10008.5.1.4.1.1.12.1.1": imaging.KindXA,  // enhanced
	"1.2.840.10008.5.1.4.1.1.12.2.1": imaging.KindXRF, // enhanced
	"1.2.840.10008.5.1.4.1.1.1":      imaging.KindCR,
	"1.2.840.10008.5.1.4.1.1.1.1":    imaging.KindDX, // for presentation
	"1.2.840.10008.5.1.4.1.1.1.1.1":  imaging.KindDX, // for processing
	"1.2.840.10008.5.1.4.1.1.7":      imaging.KindSC,
	"1.2.840.10008.5.1.4.1.1.7.2":    imaging.KindSC, // multi-frame grayscale byte
	"1.2.840.10008.5.1.4.1.1.7.3":    imaging.KindSC, // multi-frame grayscale word
	"1.2.840.10008.5.1.4.1.1.7.4":    imaging.KindSC, // multi-frame true color
}

// ErrNoImage is the kind of error for a DICOM file that is in order but holds
// no image, such as a report or a directory. It wraps imaging.ErrUnsupported.
var ErrNoImage = fmt.Errorf("%w: no image", imaging.ErrUnsupported)

// ErrOtherKind is the kind of error for an image of a class that is not read,
// such as CT. It wraps imaging.ErrUnsupported.
var ErrOtherKind = fmt.Errorf("%w: an image of another kind", imaging.ErrUnsupported)

// className is the name of a SOP class for a person.
func className(class string) string {
	if class == "" {
		return "an object of no stated class"
	}
	if info, err := uid.Lookup(class); err == nil {
		return strings.TrimSuffix(info.Name, " Storage")
	}
	return "class " + plainUID(class)
}

// plainUID drops what no UID may hold (PS3.5 9.1).
func plainUID(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == '.' || r >= '0' && r <= '9' {
			return r
		}
		return '?'
	}, s)
	if len(s) > 64 {
		s = s[:64]
	}
	return s
}

// validUID says whether s is written as a UID (PS3.5 9.1): digits and dots, at
// most 64 of them, no part empty.
func validUID(s string) bool {
	return s != "" && len(s) <= 64 && s == plainUID(s) && !strings.Contains(s, "?") &&
		!strings.HasPrefix(s, ".") && !strings.HasSuffix(s, ".") && !strings.Contains(s, "..")
}
