package intake

import (
	"io"
	"strings"
)

// Findings are what is at a path beside the films of its cases.
type Findings struct {
	Passed []Passed
	// Refused says of each film that cannot be used why, with its file.
	Refused []error
	// Others are the DICOM files among those passed over that hold no image.
	Others []Other
	// Told are lines on a DICOMDIR that does not fit the folder.
	Told []string
}

// Passed is a file or folder that was passed over.
type Passed struct {
	Path string
	Why  Reason
}

// Other is a DICOM file without an image, such as a report. It can be opened until
// the case is closed.
type Other struct {
	Path string
	Size int64
	Open func() (io.ReaderAt, io.Closer, error)
}

// Reason is why something was passed over, in words that follow a number.
type Reason string

const (
	NotDICOM  Reason = "not in DICOM"
	NoImage   Reason = "DICOM without an image, such as a report"
	OtherKind Reason = "image of a kind that is not read, such as CT"
	Directory Reason = "list of files (DICOMDIR)"
	Copy      Reason = "copy of a film, byte for byte the same"
	Archive   Reason = "zip archive, which is opened by itself only"
	Link      Reason = "link within the folder, whose end is read where it lies"
	LinkOut   Reason = "link that leads out of the folder, to a hidden part of it, or nowhere"
	NoFile    Reason = "pipe, socket or device"
	Side      Reason = "file of marks, which is not read from within an archive"
)

// Tally counts what was passed over for one reason.
type Tally struct {
	Why   Reason
	Count int
	First string // path of the first
}

// Tallies of what was passed over, in the order of the reasons above.
func (f Findings) Tallies() (out []Tally) {
	for _, why := range []Reason{NotDICOM, NoImage, OtherKind, Directory, Copy, Archive, Link, LinkOut, NoFile, Side} {
		t := Tally{Why: why}
		for _, p := range f.Passed {
			if p.Why == why {
				if t.Count++; t.Count == 1 {
					t.First = p.Path
				}
			}
		}
		if t.Count > 0 {
			out = append(out, t)
		}
	}
	return out
}

func (f *Findings) pass(path string, why Reason) { f.Passed = append(f.Passed, Passed{path, why}) }

// SideFile says whether a file name is one that Leadline itself writes beside
// images: sidecars, their locks and former revisions, marks, and files half
// written.
func SideFile(name string) bool {
	return strings.HasPrefix(name, ".") || strings.Contains(name, ".leadline.") || strings.HasSuffix(name, ".leadline") ||
		name == "marks.csv" || name == "truth.json"
}
