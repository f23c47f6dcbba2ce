// Package note words the placement of needles and leads as plain text for an
// operation note: a paragraph for each device with its side and level and what
// they rest on, the approach and the tip or contacts against the ventral
// margin, then a short list of further figures and the cautions.
//
// Figures are printed by package quantity: whole millimetres and degrees where
// the 95 % half width is above 0.5, else one decimal. A length carries its
// scale's source. A length scaled at the detector, or in a plane that cannot
// be known, is said to be magnified and is never worded as anatomy.
package note

import (
	"fmt"
	"slices"
	"strings"

	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
	"leadline/measure/sidecar"
)

// Standing cautions of every note.
var standing = []string{
	placement.CautionCortex,
	"Position has not been shown to predict benefit.",
	placement.CautionReview,
}

// Text words the report. Where sources of a device's side disagree and nobody
// confirmed it, Text refuses with an error that wraps imaging.ErrConflict.
func Text(r sidecar.Report) (string, error) {
	p := r.Placement
	if err := p.SideConflict(); err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Read from fluoroscopic films by %s.\n", r.Book.Observer)
	if len(p.Devices) == 0 {
		b.WriteString("\nNo needle, wire or lead is marked.\n")
	}
	for _, d := range p.Devices {
		b.WriteString("\n" + paragraph(d, p) + "\n")
	}
	if rows := details(p); len(rows) > 0 {
		b.WriteString("\n" + list(rows))
	}
	b.WriteString("\nCautions:\n")
	for _, c := range Cautions(p) {
		b.WriteString("- " + c + "\n")
	}
	return b.String(), nil
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

// paragraph on one device: who it is, how it approaches, how deep it lies.
func paragraph(d placement.Device, p placement.Placement) string {
	own := resultsOf(p, d.Object)
	depth := tip
	if d.Kind == mark.Lead {
		depth = contacts
	}
	return strings.Join([]string{heading(d), approach(d, own), depth(d, own, p)}, " ")
}

// heading is "N2 (needle): RIGHT, S3. Side: ... Level: ..."
func heading(d placement.Device) string {
	s := fmt.Sprintf("%s (%s): %s, %s.", d.Object, d.Kind, SideWord(d.Side), LevelWord(d))
	if d.Side != mark.NoSide {
		s += fmt.Sprintf(" Side: %s.", withState(d.SideSource, d.SideConfirmed, "not confirmed"))
	}
	switch {
	case d.LevelConflict != "":
		s += " Level left out: " + d.LevelConflict
	case d.Level != "":
		s += fmt.Sprintf(" Level: %s.", withState(d.LevelSource, d.LevelConfirmed, "level not confirmed"))
	}
	return s
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

func resultsOf(p placement.Placement, object string) []placement.Result {
	var out []placement.Result
	for _, r := range p.Results {
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

// inScale says which scale a length in mm was read in. The words of a scale at
// the detector say that it is magnified; of one in an unknown plane it is said
// here that it is not to be taken as anatomy.
func inScale(r placement.Result, p placement.Placement) string {
	switch {
	case r.Unit == "px":
		return "in pixels: no scale"
	case r.Unit != "mm":
		return ""
	}
	for _, f := range p.Films {
		if f.Scale.Plane == scale.UnknownPlane && slices.Contains(r.Frames, f.Film.Ref) {
			return "perhaps magnified, not anatomy; scale: " + r.Scale
		}
	}
	return "scale: " + r.Scale
}
