package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// words are the flags of confirm as typed.
type words struct {
	frame, object, side, level, basis, transitional, view, cranial, left string
}

func (w *words) flags(c *call) {
	for _, f := range []struct {
		to         *string
		name, text string
	}{
		{&w.object, "object", "the device spoken of: N1, W1, L1, N1.2, as `OBJECT`"},
		{&w.frame, "frame", "the film spoken of, as `FILE[:N]`"},
		{&w.side, "side", "the patient's `SIDE`: left, right or midline"},
		{&w.level, "level", "sacral `LEVEL`: S1 to S5"},
		{&w.basis, "basis", "what side or level rest on, one `WORD` of those above"},
		{&w.transitional, "transitional", "transitional anatomy: `yes`, no or not-seen"},
		{&w.view, "view", "`VIEW` of the film: frontal or lateral"},
		{&w.cranial, "cranial", "`EDGE` where the head lies: top, bottom, left or right"},
		{&w.left, "patient-left", "`EDGE` where the patient's left lies"},
	} {
		c.StringVar(f.to, f.name, "", f.text)
	}
}

// Bases of a side and of a level: those that confirm it first.
var (
	sideBases  = append(mark.SideBases(), mark.Stated)
	levelBases = append(mark.LevelBases(), mark.SILineOnly, mark.Stated)
	edges      = []string{string(imaging.Top), string(imaging.Bottom), string(imaging.Left), string(imaging.Right)}
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
