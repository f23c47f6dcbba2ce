package sidecar

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// A folder may hold several studies, or be where the marks of several cases are
// kept. An observer's sidecar of the first is OBSERVER.leadline.json; that of
// another OBSERVER.STUDY.leadline.json, STUDY standing for its Study Instance
// UID and patient. Which study a sidecar is of is told by what is in it, never
// by its name.

// pathOf is where an observer's sidecar of the first study lies.
func pathOf(dir, observer string) string {
	return filepath.Join(dir, mark.SafeName(observer)+suffix)
}

// pathOfStudy is where the sidecar of a further study lies.
func pathOfStudy(dir, observer string, h *imaging.Header) string {
	sum := sha256.Sum256([]byte(h.Study + "\x00" + h.PatientID + "\x00" + h.PatientName))
	return filepath.Join(dir, mark.SafeName(observer)+"."+hex.EncodeToString(sum[:studyBytes])+suffix)
}

// studyBytes of the digest stand in a name.
const studyBytes = 6

// studyIn says whether rest, which follows the observer in a file's name, begins
// with a point and a study; then comes what is left.
func studyIn(rest string) (left string, ok bool) {
	const n = 1 + 2*studyBytes
	if len(rest) < n || rest[0] != '.' || strings.Trim(rest[1:n], "0123456789abcdef") != "" {
		return rest, false
	}
	return rest[n:], true
}

// kept is a sidecar as it lies in its place.
type kept struct {
	path    string
	doc     []byte // nil: there is none
	report  Report // where it can be read
	bad     error  // why it cannot
	foreign bool   // it names none of the images, nor their study, and was not decoded
}

// open reads a sidecar, for what it says of the images; none: of any. To decode
// it takes ten times as long as to see that it is another case's: it has a Study
// Instance UID (0020,000D), which is not theirs.
func open(path string, images []*imaging.Header) (kept, error) {
	doc, err := read(path)
	k := kept{path: path, doc: doc}
	if err != nil || doc == nil {
		return k, err
	}
	k.foreign = len(images) > 0 && !names(doc, images) && bytes.Contains(doc, []byte(`"0020000D"`)) && json.Valid(doc)
	if !k.foreign {
		k.report, k.bad = Decode(doc)
	}
	return k, nil
}

// of says whether the sidecar is of these images' patient and study, or names
// one of them though its header has been changed since; one that names no images
// is of any, and one that cannot be read may be.
func (k kept) of(images []*imaging.Header) bool {
	if k.foreign {
		return false
	}
	own := k.report.Images
	if len(images) == 0 || k.bad != nil || len(own) == 0 {
		return true
	}
	agree := func(a, b string) bool { return a == "" || b == "" || a == b }
	a, b := own[0], images[0]
	if a.Study == b.Study && agree(a.PatientID, b.PatientID) && agree(a.PatientName, b.PatientName) {
		return true
	}
	there := map[string]bool{}
	for _, h := range images {
		there[h.SOPInstance] = true
	}
	return slices.ContainsFunc(own, func(h *imaging.Header) bool { return there[h.SOPInstance] })
}

// locate gives the observer's sidecar in dir of the study that the images are
// of, or the place where it will lie. Where two are of that study, which of them
// holds is not guessed.
func locate(dir, observer string, images []*imaging.Header) (kept, error) {
	first, err := open(pathOf(dir, observer), images)
	if err != nil || len(images) == 0 {
		return first, err
	}
	further, err := furtherOf(dir, observer, images)
	switch {
	case err != nil:
		return first, err
	case first.doc != nil && first.bad == nil && first.of(images):
		further = append(further, first)
	case first.doc == nil || first.bad != nil:
		if len(further) == 0 {
			return first, nil
		}
	}
	switch len(further) {
	case 0:
		k, err := open(pathOfStudy(dir, observer, images[0]), images)
		if err == nil && k.doc != nil {
			err = fmt.Errorf("%s: %w: it stands where marks of this study belong and holds those of another; move it away", k.path, imaging.ErrConflict)
		}
		return k, err
	case 1:
		return further[0], nil
	}
	return first, fmt.Errorf("%s and %s: %w: both hold marks of %q on this study; move one of them away",
		further[0].path, filepath.Base(further[1].path), imaging.ErrConflict, observer)
}

// furtherOf gives the sidecars of further studies that are of the images.
func furtherOf(dir, observer string, images []*imaging.Header) (out []kept, err error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w: cannot be listed: %v", dir, imaging.ErrBadInput, err)
	}
	for _, e := range entries {
		rest, ok := strings.CutPrefix(e.Name(), mark.SafeName(observer))
		if !ok || e.IsDir() {
			continue
		}
		if left, ok := studyIn(rest); !ok || left != suffix {
			continue
		}
		k, err := open(filepath.Join(dir, e.Name()), images)
		if err != nil {
			return nil, err
		}
		if k.doc != nil && k.of(images) { // nil: removed since it was listed
			out = append(out, k)
		}
	}
	return out, nil
}

// names says whether the images' study or one of them is named in a document.
func names(doc []byte, images []*imaging.Header) bool {
	in := func(uid string) bool { return uid != "" && bytes.Contains(doc, []byte(`"`+uid+`"`)) }
	return in(images[0].Study) || slices.ContainsFunc(images, func(h *imaging.Header) bool { return in(h.SOPInstance) })
}

// unfinished says whether a file is what a write of this observer's sidecars
// left behind that was cut short.
func unfinished(name, observer string) bool {
	rest, ok := strings.CutPrefix(name, "."+mark.SafeName(observer))
	if !ok {
		return false
	}
	rest, _ = studyIn(rest)
	number, ok := strings.CutPrefix(rest, suffix)
	return ok && number != "" && strings.Trim(number, "0123456789") == ""
}
