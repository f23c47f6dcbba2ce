package intake

import (
	"bytes"
	"fmt"
	"io"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// found is a film and the file it is in.
type found struct {
	*dicomfile.File
	entry
}

// single leaves one film of each SOP Instance UID. Of copies that are the same
// byte for byte the first by name is kept. Where files bear one UID and differ,
// which of them the marks would mean cannot be known: none is used.
func (c *Collection) single(films []found) (kept []found, err error) {
	var order []string
	byUID := map[string][]found{}
	for _, f := range films {
		uid := f.Header.SOPInstance
		if byUID[uid] == nil {
			order = append(order, uid)
		}
		byUID[uid] = append(byUID[uid], f)
	}
	for i, uid := range order {
		group := byUID[uid]
		var rest []*dicomfile.File
		differs := -1
		for j := 1; j < len(group) && differs < 0; j++ {
			same, err := sameBytes(group[0].entry, group[j].entry)
			if err != nil { // it cannot be shown to be a copy
				c.Refused = append(c.Refused, err)
			}
			if !same {
				differs = j
			}
		}
		for j, f := range group {
			if j > 0 || differs >= 0 {
				rest = append(rest, f.File)
			}
		}
		if differs < 0 {
			kept = append(kept, group[0])
			for _, f := range group[1:] {
				c.pass(f.path, Copy)
			}
		} else {
			c.Refused = append(c.Refused, fmt.Errorf("%s and %s: %w: they have the same SOP Instance UID and differ, so neither is used; move the wrong one away",
				group[0].path, Within(c.Path, group[differs].path), imaging.ErrConflict))
		}
		if err := closeAll(rest); err != nil {
			for _, uid := range order[i+1:] { // what is not closed yet goes with what is kept
				kept = append(kept, byUID[uid]...)
			}
			return kept, err
		}
	}
	return kept, nil
}

// sameBytes compares two files to the last byte.
func sameBytes(a, b entry) (same bool, err error) {
	if a.size != b.size {
		return false, nil
	}
	var open [2]io.ReaderAt
	for i, e := range []entry{a, b} {
		r, closer, err := e.bytes()
		if err != nil {
			return false, unreadable(e.path, err)
		}
		defer closer.Close()
		open[i] = r
	}
	const strip = 1 << 18
	x, y := make([]byte, strip), make([]byte, strip)
	for at := int64(0); at < a.size; at += strip {
		n := min(strip, a.size-at)
		for i, part := range [][]byte{x[:n], y[:n]} {
			if got, err := open[i].ReadAt(part, at); int64(got) < n {
				return false, unreadable([]entry{a, b}[i].path, err)
			}
		}
		if !bytes.Equal(x[:n], y[:n]) {
			return false, nil
		}
	}
	return true, nil
}
