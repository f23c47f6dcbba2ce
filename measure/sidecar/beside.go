package sidecar

import (
	"fmt"
	"path/filepath"

	"leadline/imaging"
	"leadline/measure/mark"
)

// beside fits the report to the images it lies beside, or says which of them
// is not its own.
func (r *Report) beside(images []*imaging.Header) error {
	there := map[string]*imaging.Header{}
	for _, h := range images {
		there[h.SOPInstance] = h
	}
	for _, want := range r.Images {
		h := there[want.SOPInstance]
		if h == nil {
			continue
		}
		wrong := ""
		switch {
		case h.Study != want.Study:
			wrong = fmt.Sprintf("is of study %s, the report of %s", h.Study, want.Study)
		case h.Columns != want.Columns || h.Rows != want.Rows:
			wrong = fmt.Sprintf("has %d columns and %d rows, the report's has %d and %d", h.Columns, h.Rows, want.Columns, want.Rows)
		case max(h.Frames, 1) != max(want.Frames, 1):
			wrong = fmt.Sprintf("has %d frames, the report's has %d", h.Frames, want.Frames)
		case h.SOPClass != want.SOPClass:
			wrong = fmt.Sprintf("is of class %s, the report's of %s", h.SOPClass, want.SOPClass)
		}
		if wrong != "" {
			return fmt.Errorf("%w: image %s %s: the report belongs to other images", imaging.ErrBadInput, nameOf(h), wrong)
		}
	}
	for _, f := range r.refers() {
		if f.Instance != "" && there[f.Instance] == nil {
			if len(images) > 0 && len(r.Images) > 0 && images[0].Study != r.Images[0].Study {
				return fmt.Errorf("%w: the report belongs to study %s, the images here to %s", imaging.ErrBadInput, r.Images[0].Study, images[0].Study)
			}
			return fmt.Errorf("%w: image %s, which the report refers to, is not here: put it back or open the folder it is in", imaging.ErrBadInput, f.Instance)
		}
	}
	films := r.Placement.Films[:0:0]
	for _, f := range r.Placement.Films {
		h := there[f.Film.Ref.Instance]
		if h == nil {
			continue // a reading of a header that is gone; no mark is on it
		}
		f.Film.Header, f.Film.File = h, filepath.Base(h.File)
		f.Film.Geometry = h.Geometry(f.Film.Ref.First)
		films = append(films, f)
	}
	r.Placement.Films = films
	r.Images = images
	return nil
}

// refers lists the frames that cannot be missed: of marks, statements, results.
func (r *Report) refers() []mark.FrameRef {
	var out []mark.FrameRef
	for _, m := range r.Book.Marks {
		out = append(out, m.Frame)
	}
	for _, s := range r.Book.Statements {
		out = append(out, s.Frame)
	}
	for _, v := range r.Placement.Results {
		out = append(out, v.Frames...)
	}
	return out
}
