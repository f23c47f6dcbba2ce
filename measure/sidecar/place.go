package sidecar

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// A folder may hold several studies, or be where the marks of several cases are
// kept. An observer's sidecar of the first is OBSERVER.leadline.json; that of
// another OBSERVER.STUDY.leadline.json, STUDY standing for its Study Instance
// UID. Which study a sidecar is of is told by what is in it, never by its name.

// pathOf is where an observer's sidecar of the first study lies.
func pathOf(dir, observer string) string {
	return filepath.Join(dir, mark.SafeName(observer)+suffix)
}

// pathOfStudy is where the sidecar of a further study lies.
func pathOfStudy(dir, observer, study string) string {
	sum := sha256.Sum256([]byte(study))
	return filepath.Join(dir, mark.SafeName(observer)+"."+hex.EncodeToString(sum[:studyBytes])+suffix)
}

// studyBytes of the digest of a UID stand in a name.
const studyBytes = 6

// kept is a sidecar as it lies in its place.
type kept struct {
	path   string
	doc    []byte // nil: there is none
	report Report // where it can be read
	bad    error  // why it cannot
}

func open(path string) (kept, error) {
	doc, err := read(path)
	k := kept{path: path, doc: doc}
	if err == nil && doc != nil {
		k.report, k.bad = Decode(doc)
	}
	return k, err
}

// of says whether the sidecar is of the study that the images are of, or of any
// of them though their study is another now; one that names no images is of
// any, and one that cannot be read may be.
func (k kept) of(images []*imaging.Header) bool {
	own := k.report.Images
	if len(images) == 0 || k.bad != nil || len(own) == 0 || own[0].Study == images[0].Study {
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
	first, err := open(pathOf(dir, observer))
	if err != nil || len(images) == 0 || images[0].Study == "" {
		return first, err
	}
	own, err := open(pathOfStudy(dir, observer, images[0].Study))
	switch {
	case err != nil:
		return own, err
	case own.doc == nil && (first.doc == nil || first.of(images)):
		return first, nil
	case own.doc != nil && first.doc != nil && first.bad == nil && first.of(images):
		return own, fmt.Errorf("%s and %s: %w: both hold marks of %q on this study; move one of them away",
			first.path, filepath.Base(own.path), imaging.ErrConflict, observer)
	}
	return own, nil
}

// unfinished says whether a file is what a write of this observer's sidecars
// left behind that was cut short.
func unfinished(name, observer string) bool {
	rest, ok := strings.CutPrefix(name, "."+mark.SafeName(observer))
	if !ok {
		return false
	}
	if len(rest) > 2*studyBytes && rest[0] == '.' && strings.Trim(rest[1:1+2*studyBytes], "0123456789abcdef") == "" {
		rest = rest[1+2*studyBytes:]
	}
	number, ok := strings.CutPrefix(rest, suffix)
	return ok && number != "" && strings.Trim(number, "0123456789") == ""
}
