package main

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// statement checks what was typed and reads it as a statement, without its
// observer, time and frame.
func (w words) statement() (mark.Statement, error) {
	s := mark.Statement{
		Object: w.object, Side: mark.Side(w.side), Level: mark.Level(w.level), Transitional: w.transitional,
		View: imaging.View(w.view), Cranial: imaging.Edge(w.cranial), PatientLeft: imaging.Edge(w.left),
	}
	for _, f := range []struct {
		flag, value string
		allowed     []string
	}{
		{"side", w.side, []string{"left", "right", "midline"}},
		{"level", w.level, []string{"S1", "S2", "S3", "S4", "S5"}},
		{"transitional", w.transitional, []string{"yes", "no", "not-seen"}},
		{"view", w.view, []string{"frontal", "lateral"}},
		{"cranial", w.cranial, edges},
		{"patient-left", w.left, edges},
	} {
		if f.value != "" && !slices.Contains(f.allowed, f.value) {
			return s, fmt.Errorf("--%s %q is not one of %s", f.flag, f.value, strings.Join(f.allowed, ", "))
		}
	}
	if err := w.fitting(); err != nil {
		return s, err
	}
	if w.basis == "" {
		return s, nil
	}
	if w.side != "" || w.left != "" {
		s.SideBasis = mark.Basis(w.basis)
		return s, among(w.basis, sideBases, "a side")
	}
	s.LevelBasis = mark.Basis(w.basis)
	return s, among(w.basis, levelBases, "a level")
}

// fitting checks that the flags go together.
func (w words) fitting() error {
	aboutFilm := w.view != "" || w.cranial != "" || w.left != ""
	aboutDevice := w.side != "" || w.level != ""
	switch {
	case w.frame != "" && w.object != "":
		return errors.New("--frame and --object in one statement: state them one after the other")
	case aboutFilm && w.frame == "":
		return errors.New("--view, --cranial and --patient-left speak of a film: name it with --frame FILE[:N]")
	case aboutDevice && w.object == "":
		return errors.New("--side and --level speak of a device: name it with --object")
	case w.frame != "" && (!aboutFilm || w.transitional != ""):
		return errors.New("of a film, state --view, --cranial or --patient-left")
	case w.side != "" && (w.level != "" || w.transitional != ""):
		return errors.New("side and level rest on different things: state them one after the other, each with its --basis")
	case (aboutDevice || w.left != "") && w.basis == "":
		return errors.New("no --basis given: say what this rests on, or --basis stated")
	case w.frame != "" && w.left == "" && w.basis != "":
		return errors.New("--view and --cranial take no --basis")
	case w.basis == "" && w.transitional == "" && !aboutFilm:
		return errors.New("nothing stated: give --side, --level, --view, --cranial, --patient-left, --transitional or --basis")
	}
	return nil
}

func among(basis string, allowed []mark.Basis, of string) error {
	var words []string
	for _, b := range allowed {
		if string(b) == basis {
			return nil
		}
		words = append(words, string(b))
	}
	return fmt.Errorf("--basis %q is no basis of %s: one of %s", basis, of, strings.Join(words, ", "))
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
		return mark.FrameRef{}, badInput("%s has no film %q: 'leadline list %s' shows its films", r.kase.Path, name, r.kase.Path)
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

func devicesOf(b mark.Book) string {
	var names []string
	for _, m := range b.Marks {
		if m.Object != "" && !slices.Contains(names, m.Object) {
			names = append(names, m.Object)
		}
	}
	slices.Sort(names)
	return orWords(strings.Join(names, ", "), "none")
}
