package desk

import (
	"leadline/imaging"
	"leadline/measure/mark"
)

// Kind is what the desk needs to know of a structure to have it marked.
type Kind struct {
	Structure mark.Structure
	Key       string
	Name      string // as a person says it
	How       string // how its points are set
	Frontal   bool
	Lateral   bool
	Least     int
	Most      int  // 0: no limit
	Device    bool // carries an object
}

// Shows reports whether the structure is marked on films of that view.
func (k Kind) Shows(v imaging.View) bool {
	return v == imaging.Frontal && k.Frontal || v == imaging.Lateral && k.Lateral
}

// kinds in the order of the list of keys.
var kinds = []Kind{
	{Structure: mark.VentralMargin, Key: "m", Name: "Ventral margin", How: "click along the anterior cortex, at least 5 points", Lateral: true, Least: 5},
	{Structure: mark.DorsalMargin, Key: "d", Name: "Dorsal surface", How: "click along the dorsal cortex, at least 5 points", Lateral: true, Least: 5},
	{Structure: mark.Needle, Key: "n", Name: "Needle", How: "click from skin to tip", Frontal: true, Lateral: true, Least: 2, Device: true},
	{Structure: mark.Wire, Key: "w", Name: "Temporary wire", How: "click from skin to tip", Frontal: true, Lateral: true, Least: 2, Device: true},
	{Structure: mark.Lead, Key: "l", Name: "Lead", How: "click from skin to tip", Frontal: true, Lateral: true, Least: 2, Device: true},
	{Structure: mark.Contact, Key: "c", Name: "Contact", How: "click each contact's centre, nearest the tip first", Frontal: true, Lateral: true, Least: 1, Most: 1, Device: true},
	{Structure: mark.Midline, Key: "i", Name: "Midline", How: "click along the spinous processes", Frontal: true, Least: 2},
	{Structure: mark.SILine, Key: "j", Name: "Sacroiliac line", How: "click the lower edge of each joint", Frontal: true, Least: 2, Most: 2},
	{Structure: mark.Foramen, Key: "f", Name: "Foramen", How: "click round its rim, at least 3 points", Frontal: true, Least: 3},
	{Structure: mark.MedialLine, Key: "e", Name: "Medial edges", How: "click the medial edges of the foramina of one side", Frontal: true, Least: 2},
	{Structure: mark.FusionLine, Key: "u", Name: "Fusion line", How: "click its ventral, then its dorsal end", Frontal: true, Lateral: true, Least: 2},
	{Structure: mark.SciaticNotch, Key: "g", Name: "Sciatic notch", How: "click along one notch's edge", Lateral: true, Least: 2},
	{Structure: mark.SkinLine, Key: "b", Name: "Skin line", How: "click along the skin, at least 5 points", Lateral: true, Least: 5},
	{Structure: mark.Promontory, Key: "p", Name: "Promontory", How: "click it", Lateral: true, Least: 1, Most: 1},
	{Structure: mark.CoccyxTip, Key: "x", Name: "Coccyx tip", How: "click it", Lateral: true, Least: 1, Most: 1},
	{Structure: mark.KnownLength, Key: "k", Name: "Known length", How: "click its two ends", Frontal: true, Lateral: true, Least: 2, Most: 2},
}

// Kinds lists every structure that can be marked.
func Kinds() []Kind { return kinds }

// KindOf gives what is known of a structure.
func KindOf(s mark.Structure) Kind {
	for _, k := range kinds {
		if k.Structure == s {
			return k
		}
	}
	return Kind{Structure: s, Name: string(s), Least: 1}
}

// NameOf says a mark's name as a person would: Needle N2, Foramen S3.
func NameOf(m mark.Mark) string {
	n := KindOf(m.Structure).Name
	if m.Object != "" {
		n += " " + m.Object
	}
	if m.Structure == mark.Contact {
		n += " " + string(rune('0'+m.Index%10))
	}
	if m.Level != "" {
		n += " " + string(m.Level)
	}
	if m.Structure == mark.FusionLine && m.Detail != "" {
		n += " " + m.Detail
	}
	return n
}
