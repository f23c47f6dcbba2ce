// Package note words a case for an operation note, by a template: what is recorded
// of the operation, a paragraph for each device with its side and level and what
// they rest on, the approach and the tip or contacts against the ventral margin,
// a table of the positions with their responses, further figures, the cautions, and
// what is on record; as plain text, Markdown or RTF.
//
// Figures are printed by package quantity: whole millimetres and degrees where
// the 95 % half width is above 0.5, else one decimal. The source of the scale
// stands once for the lengths that share it, and with each of the others. A length
// scaled at the detector, or in a plane that cannot be known, is never worded as
// anatomy: what it may be at the sacrum stands beside it.
package note

import (
	"fmt"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
)

// Standing cautions of every note.
var standing = []string{
	placement.CautionCortex,
	"Position has not been shown to predict benefit.",
	placement.CautionReview,
}

// Text words the report by the default template as plain text: see Write.
func Text(r sidecar.Report) (string, error) {
	return Write(Material{Report: r}, byDefault, PlainText)
}

// Write words a case by a template. Where sources of a device's side disagree and
// nobody confirmed it, it refuses with an error that wraps imaging.ErrConflict;
// where no device is marked, with imaging.ErrBadInput. No file is named and no
// instruction given: the text goes into the patient's record.
func Write(m Material, t Template, f Format) (string, error) {
	if len(m.Report.Placement.Devices) == 0 {
		return "", fmt.Errorf("%w: no needle, wire or lead is marked, so there is nothing to tell: mark one first", imaging.ErrBadInput)
	}
	w, err := newWriter(m)
	if err != nil {
		return "", err
	}
	if !t.scaled {
		w.shared = "" // each length carries its own
	}
	text, _ := w.evaluate(t.nodes)
	return render(w.lay(text), f)
}

// Comparison sets the positions of a case beside each other, with what may be
// compared of their thresholds and the cautions. It refuses where a side is in
// conflict, as Write does; positions that are marked nowhere stand by their
// responses alone.
func Comparison(m Material, f Format) (string, error) {
	w, err := newWriter(m)
	if err != nil {
		return "", err
	}
	var out []block
	add := func(title string, list []block) {
		if len(list) > 0 {
			out = append(append(out, block{kind: heading, text: title}), list...)
		}
	}
	add("Positions by side and level", w.positions())
	add("Responses", items(w.responses()))
	add("Thresholds of one kind, unit, pulse width and device", items(w.thresholds()))
	if s := strings.TrimPrefix(strings.TrimSpace(w.scaleSentence()), "Scale of "); s != "" {
		add("Scale", items([]string{s}))
	}
	add("Cautions", items(w.cautions()))
	return render(out, f)
}

func newWriter(m Material) (*writer, error) {
	p := m.Report.Placement
	if err := p.SideConflict(); err != nil {
		return nil, err
	}
	w := &writer{Placement: p, Material: m, comparison: response.Compare(p, m.Report.Responses)}
	w.shared, w.sharedByAll = sharedScale(p)
	return w, nil
}

// Cautions are the placement's own, then those that stand in every output.
func Cautions(p placement.Placement) []string {
	out := slices.Clone(p.Cautions)
	for _, c := range standing {
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// depth is how deep a device lies: the tip of a needle or wire, the contacts of a
// lead.
func (w *writer) depth(d placement.Device, own []placement.Result) string {
	if d.Kind == mark.Lead {
		return w.contacts(own)
	}
	return w.tip(d, own)
}

// heading is "N2 (needle): RIGHT, S3. Side: ... Level: ..."
func (w *writer) heading(d placement.Device) string {
	s := fmt.Sprintf("%s (%s): %s, %s.", d.Object, d.Kind, SideWord(d.Side), LevelWord(d))
	if d.Side != mark.NoSide {
		s += fmt.Sprintf(" Side: %s.", sideBasis(d))
	}
	switch {
	case d.LevelConflict != "":
		s += " Level left out: " + plain(d.LevelConflict, w.Placement)
	case d.Level != "":
		s += fmt.Sprintf(" Level: %s.", levelBasis(d))
	}
	return s
}

func sideBasis(d placement.Device) string {
	return withState(d.SideSource, d.SideConfirmed, "not confirmed")
}

func levelBasis(d placement.Device) string {
	return withState(d.LevelSource, d.LevelConfirmed, "level not confirmed")
}

// sideWithBasis is "RIGHT (theatre record, confirmed by A)".
func (w *writer) sideWithBasis(d placement.Device) string {
	if d.Side == mark.NoSide {
		return SideWord(d.Side)
	}
	return SideWord(d.Side) + " (" + sideBasis(d) + ")"
}

// levelWithBasis is "S3 (counted from above)".
func (w *writer) levelWithBasis(d placement.Device) string {
	switch {
	case d.LevelConflict != "":
		return LevelWord(d) + " (left out: " + strings.TrimRight(plain(d.LevelConflict, w.Placement), ". ") + ")"
	case d.Level == "":
		return LevelWord(d)
	}
	return LevelWord(d) + " (" + levelBasis(d) + ")"
}

// SideWord spells a side out, or says that none is stated.
func SideWord(s mark.Side) string {
	if s == mark.NoSide {
		return "side not stated"
	}
	return strings.ToUpper(string(s))
}

// LevelWord is the device's level, or says that none is stated.
func LevelWord(d placement.Device) string {
	if d.Level == "" {
		return "level not stated"
	}
	return string(d.Level)
}

// withState is a source that surely says when it is not confirmed.
func withState(source string, confirmed bool, not string) string {
	source = strings.TrimRight(source, ". ")
	switch {
	case confirmed || strings.Contains(source, "not confirmed"):
		return source
	case source == "":
		return not
	}
	return source + ", " + not
}

// resultsOf an object, one value of each quantity: that of both films together
// where they give one.
func resultsOf(p placement.Placement, object string) []placement.Result {
	var out []placement.Result
	for _, r := range p.Best() {
		if r.Object == object {
			out = append(out, r)
		}
	}
	return out
}

func find(rs []placement.Result, quantity string) (placement.Result, bool) {
	for _, r := range rs {
		if r.Quantity == quantity {
			return r, true
		}
	}
	return placement.Result{}, false
}

// scaleOf says which scale a length was read in; empty for what is no length.
func scaleOf(r placement.Result) string {
	switch {
	case r.Unit == "px":
		return "in pixels: no scale"
	case r.Unit != "mm":
		return ""
	}
	return "scale: " + r.Scale
}

// sharedScale is the scale of most lengths, and whether it is that of all.
func sharedScale(p placement.Placement) (shared string, all bool) {
	count := map[string]int{}
	for _, r := range p.Best() {
		s := scaleOf(r)
		if s == "" {
			continue
		}
		if count[s]++; shared == "" || count[s] > count[shared] {
			shared = s
		}
	}
	return shared, len(count) < 2
}

// scaleSentence says the scale that all lengths share, or all but those that name
// their own.
func (w *writer) scaleSentence() string {
	source, known := strings.CutPrefix(w.shared, "scale: ")
	of := "all lengths"
	if !w.sharedByAll {
		of = "lengths, where no other is named"
	}
	switch {
	case w.shared == "":
		return ""
	case known:
		return " Scale of " + of + ": " + source + "."
	case w.sharedByAll:
		return " Lengths are " + w.shared + "."
	}
	return " Lengths, where no scale is named, are " + w.shared + "."
}

// inScale is a length's scale in brackets, where it is not that of the others.
func (w *writer) inScale(r placement.Result) string {
	if s := scaleOf(r); s != "" && s != w.shared {
		return " (" + s + ")"
	}
	return ""
}
