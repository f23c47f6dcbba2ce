package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/measure/mark"
)

// printSuggestions as a table a person reads.
func (r *reader) printSuggestions(w io.Writer, q asked, found []finding) {
	fmt.Fprintf(w, "%s, frame %s. Suggestions, nobody's marks until accepted. Points in pixels (column, row).\n", r.fileName(q.frame.Instance), q.frame.Span())
	for _, f := range found {
		at := "on the whole film"
		if len(f.near) > 0 {
			at = "near"
			for _, p := range f.near {
				at += fmt.Sprintf(" %g,%g", p.X, p.Y)
			}
		}
		if f.Refused != "" {
			fmt.Fprintf(w, "%s: none: %s\n", at, f.Refused)
		}
		for _, s := range f.Suggestions {
			fmt.Fprintf(w, "%s: ", at)
			printSuggestion(w, "", s)
		}
		for _, k := range f.Quality {
			fmt.Fprintf(w, "  %s\n", figureText(k))
		}
		for _, n := range f.Notes {
			fmt.Fprintf(w, "  %s\n", n)
		}
	}
}

func printSuggestion(w io.Writer, indent string, s assist.Suggestion) {
	name := s.Structure
	if s.Structure == string(mark.Contact) {
		name = fmt.Sprintf("%s %d", name, s.Index)
	}
	fmt.Fprintf(w, "%s%s, sd %.2f px, confidence %.2f\n", indent, strings.TrimSpace(name+" "+s.Detail), s.SD, s.Confidence)
	var points []string
	for _, p := range s.Points {
		points = append(points, fmt.Sprintf("%.2f,%.2f", p.X, p.Y))
	}
	fmt.Fprintf(w, "%s  points %s\n", indent, strings.Join(points, "  "))
	var figures []string
	for _, f := range s.Figures {
		figures = append(figures, figureText(f))
	}
	if len(figures) > 0 {
		fmt.Fprintf(w, "%s  %s\n", indent, strings.Join(figures, ", "))
	}
	for _, n := range s.Notes {
		fmt.Fprintf(w, "%s  %s\n", indent, n)
	}
	for _, v := range s.Rivals {
		fmt.Fprintf(w, "%s  instead: ", indent)
		printSuggestion(w, indent+"  ", v)
	}
}

func figureText(f assist.Figure) string {
	switch {
	case f.Words != "":
		return f.Name + " " + f.Words
	case f.Unit == "1" || f.Unit == "":
		return fmt.Sprintf("%s %.3g", f.Name, f.Value)
	}
	return fmt.Sprintf("%s %.3g %s", f.Name, f.Value, f.Unit)
}

// The JSON of 'leadline assist --json'. Schema 1. Points and covariances (xx, xy,
// yy) in pixels and their squares.
type suggestionsJSON struct {
	Schema   int           `json:"schema"`
	Case     string        `json:"case"`
	Observer string        `json:"observer,omitempty"`
	Frame    frameJSON     `json:"frame"`
	Kind     assist.Kind   `json:"kind"`
	Answers  []findingJSON `json:"answers"`
}

type findingJSON struct {
	Near        [][2]float64     `json:"near,omitempty"`
	Refused     string           `json:"refused,omitempty"`
	Suggestions []suggestionJSON `json:"suggestions"`
	Quality     []figureJSON     `json:"quality,omitempty"`
	Notes       []string         `json:"notes,omitempty"`
}

type suggestionJSON struct {
	Structure  string           `json:"structure"`
	Index      *int             `json:"index,omitempty"` // of a contact
	Detail     string           `json:"detail,omitempty"`
	Points     [][2]float64     `json:"points"`
	Covariance [][3]float64     `json:"covariance,omitempty"`
	SD         float64          `json:"sd"`
	Confidence float64          `json:"confidence"`
	Figures    []figureJSON     `json:"figures,omitempty"`
	Notes      []string         `json:"notes,omitempty"`
	Rivals     []suggestionJSON `json:"rivals,omitempty"`
}

type figureJSON struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	Words string   `json:"words,omitempty"`
}

func pairs(points []assist.Point) [][2]float64 {
	out := make([][2]float64, len(points))
	for i, p := range points {
		out[i] = [2]float64{p.X, p.Y}
	}
	return out
}

func figuresJSON(all []assist.Figure) (out []figureJSON) {
	for _, f := range all {
		k := figureJSON{Name: f.Name, Unit: f.Unit, Words: f.Words}
		if f.Words == "" {
			k.Value = &f.Value
		}
		out = append(out, k)
	}
	return out
}

func suggestedJSON(all []assist.Suggestion) []suggestionJSON {
	out := []suggestionJSON{}
	for _, s := range all {
		k := suggestionJSON{Structure: s.Structure, Detail: s.Detail, Points: pairs(s.Points), Covariance: s.Covariance,
			SD: s.SD, Confidence: s.Confidence, Figures: figuresJSON(s.Figures), Notes: s.Notes}
		if s.Structure == string(mark.Contact) {
			k.Index = &s.Index
		}
		if len(s.Rivals) > 0 {
			k.Rivals = suggestedJSON(s.Rivals)
		}
		out = append(out, k)
	}
	return out
}

func (r *reader) suggestionsJSON(w io.Writer, q asked, found []finding) error {
	d := suggestionsJSON{Schema: 1, Case: r.kase.Name, Observer: r.observer, Kind: q.kind,
		Frame: frameJSON{q.frame.Instance, r.fileName(q.frame.Instance), q.frame.Span()}, Answers: []findingJSON{}}
	for _, f := range found {
		d.Answers = append(d.Answers, findingJSON{pairs(f.near), f.Refused, suggestedJSON(f.Suggestions), figuresJSON(f.Quality), f.Notes})
	}
	text, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return fmt.Errorf("a suggestion has no finite value: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", text)
	return err
}

// acceptSuggestions writes the suggestions as the observer's marks.
func (r *reader) acceptSuggestions(c *call, q asked, found []finding) error {
	var marks []mark.Mark
	device := 0
	for _, f := range found {
		if f.Refused != "" {
			return badInput("nothing was accepted: there is no suggestion: %s", f.Refused)
		}
		for _, s := range f.Suggestions {
			m, err := r.asMark(q, s)
			if err != nil {
				return err
			}
			if info, _ := mark.Info(m.Structure); info.NeedsObject {
				if m.Structure != mark.Contact || device == 0 {
					device++
				}
				if device > len(q.objects) {
					return badInput("nothing was accepted: say which device each suggestion is, as --object N1,N2")
				}
				m.Object = q.objects[device-1]
				if !deviceName(info, m.Object) {
					return badInput("nothing was accepted: a %s cannot be called %q: name it as %s1, or %s1.2 for its second position", m.Structure, m.Object, info.Object[:1], info.Object[:1])
				}
			}
			marks = append(marks, m)
		}
	}
	replaced := 0
	_, err := r.change(true, func(b *mark.Book) error {
		for i := range marks {
			m := &marks[i]
			same := func(o mark.Mark) bool {
				return o.Frame == m.Frame && o.Structure == m.Structure && o.Object == m.Object && o.Index == m.Index
			}
			if info, _ := mark.Info(m.Structure); info.NeedsObject {
				if at := slices.IndexFunc(b.Marks, same); at >= 0 {
					// What the observer stated of the former mark stays the observer's.
					m.Side, m.Level = b.Marks[at].Side, b.Marks[at].Level
					b.Marks = slices.DeleteFunc(b.Marks, same)
					replaced++
				}
			}
			b.Marks = append(b.Marks, *m)
		}
		return nil
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s accepted by %s", count(len(marks), "suggestion"), r.observer)
	if replaced > 0 {
		fmt.Fprintf(c.out, ", in place of %s", count(replaced, "mark"))
	}
	fmt.Fprintln(c.out)
	return nil
}

// deviceName reports whether a device of this structure may be called so.
func deviceName(info mark.StructureInfo, name string) bool {
	return len(name) >= 2 && strings.ContainsRune(info.Object, rune(name[0])) && name[1] >= '1' && name[1] <= '9'
}

// asMark is a suggestion as a mark of the observer's, accepted now.
func (r *reader) asMark(q asked, s assist.Suggestion) (mark.Mark, error) {
	m := mark.Mark{UID: mark.NewUID(), Frame: q.frame, Structure: mark.Structure(s.Structure), Detail: s.Detail, Index: s.Index,
		SD: imaging.Known(math.Round(s.SD*1000) / 1000), Origin: mark.Suggested}
	if _, ok := mark.Info(m.Structure); !ok {
		return m, fmt.Errorf("%s suggests a %q, which this program does not know: build both together", assist.Program, s.Structure)
	}
	for _, p := range s.Points {
		m.Points = append(m.Points, mark.Round(r2.Vec(p)))
	}
	now := time.Now().UTC().Format("2006-01-02 15:04:05 UTC")
	m.History = []string{
		fmt.Sprintf("%s suggested by %s, confidence %.2f", now, assist.Program, s.Confidence),
		fmt.Sprintf("%s accepted by %s", now, r.observer),
	}
	return m, nil
}
