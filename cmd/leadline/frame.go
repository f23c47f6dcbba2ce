package main

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// header finds a film by file name or SOP Instance UID.
func (r *reader) header(nameOrUID string) (*imaging.Header, bool) {
	f, ok := r.kase.Find(nameOrUID)
	if !ok {
		return nil, false
	}
	return f.Header, true
}

// fileName is what a film is called in marks.csv: its file name, or its UID
// where another film bears that name too.
func (r *reader) fileName(uid string) string {
	f := r.kase.File(uid)
	if f == nil {
		return uid
	}
	name := baseName(f.Header)
	if again, ok := r.kase.Find(name); !ok || again != f {
		return uid
	}
	return name
}

var spanOfFrames = regexp.MustCompile(`^(.+):(\d+)(?:-(\d+))?$`)

// frame reads FILE[:N], N a frame number or a span of them.
func (r *reader) frame(text string) (mark.FrameRef, error) {
	name, first, last := text, 0, 0
	h, ok := r.header(name)
	if m := spanOfFrames.FindStringSubmatch(text); !ok && m != nil {
		name = m[1]
		first, _ = strconv.Atoi(m[2])
		last = first
		if m[3] != "" {
			last, _ = strconv.Atoi(m[3])
		}
		h, ok = r.header(name)
	}
	switch {
	case !ok:
		return mark.FrameRef{}, badInput("%s has no film %q, or two of that name: 'leadline list %s' shows its films; name one by its path in the case", r.kase.Path, name, r.typed())
	case name == text && h.Frames > 1:
		return mark.FrameRef{}, badInput("%s has %d frames: say which, as %s:N or %s:N-M", name, h.Frames, name, name)
	case name == text:
		first, last = 1, 1
	case first < 1 || last < first || last > h.Frames:
		return mark.FrameRef{}, badInput("%s has no frame %s: it has %s", name, strings.TrimPrefix(text, name+":"), count(h.Frames, "frame"))
	}
	return mark.FrameRef{Instance: h.SOPInstance, First: first, Last: last}, nil
}

// marked reports whether the device, or a position of it, has marks.
func marked(b mark.Book, object string) bool {
	return slices.ContainsFunc(b.Marks, func(m mark.Mark) bool {
		return m.Object == object || strings.HasPrefix(m.Object, object+".")
	})
}

// devicesOf says which devices are marked.
func devicesOf(b mark.Book) string {
	var names []string
	for _, m := range b.Marks {
		if m.Object != "" && !slices.Contains(names, m.Object) {
			names = append(names, m.Object)
		}
	}
	slices.Sort(names)
	if len(names) == 0 {
		return "no device is marked yet"
	}
	return "marked are " + strings.Join(names, ", ")
}
