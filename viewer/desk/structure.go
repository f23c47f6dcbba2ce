package desk

import (
	"slices"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Kind is how the desk has a structure marked; what holds for its marks stands
// in mark.StructureInfo.
type Kind struct {
	mark.StructureInfo
	Key  string
	Name string // as a person says it
	How  string // how its points are set
	// Wanted is how many points measuring wants; fewer are kept all the same.
	Wanted int
}

// Shows reports whether the structure is marked on films of that view.
func (k Kind) Shows(v imaging.View) bool { return slices.Contains(k.Views, v) }

// kinds in the order of the list of keys.
var kinds = []Kind{
	kind(mark.VentralMargin, "m", "Ventral margin", "click along the anterior cortex, 5 points or more", 5),
	kind(mark.DorsalMargin, "d", "Dorsal surface", "click along the dorsal cortex, 5 points or more", 5),
	kind(mark.Needle, "n", "Needle", "click from skin to tip", 2),
	kind(mark.Wire, "w", "Temporary wire", "click from skin to tip", 2),
	kind(mark.Lead, "l", "Lead", "click from skin to tip, 5 points or more", 5),
	kind(mark.Contact, "c", "Contact", "click each contact's centre, nearest the tip first", 1),
	kind(mark.Midline, "i", "Midline", "click along the spinous processes", 2),
	kind(mark.SILine, "j", "Sacroiliac line", "click the lower edge of each joint", 2),
	kind(mark.Foramen, "f", "Foramen", "click round its rim", 5),
	kind(mark.MedialLine, "e", "Medial edges", "click the medial edges of one side's foramina", 2),
	kind(mark.FusionLine, "u", "Fusion line", "click its ventral end, then its dorsal end", 2),
	kind(mark.SciaticNotch, "g", "Sciatic notch", "click the same point of each notch", 1),
	kind(mark.SkinLine, "b", "Skin line", "click along the skin, 5 points or more", 5),
	kind(mark.Promontory, "p", "Promontory", "click it", 1),
	kind(mark.CoccyxTip, "x", "Coccyx tip", "click it", 1),
	kind(mark.KnownLength, "k", "Known length", "click its two ends", 2),
}

func kind(s mark.Structure, key, name, how string, wanted int) Kind {
	info, _ := mark.Info(s)
	return Kind{StructureInfo: info, Key: key, Name: name, How: how, Wanted: wanted}
}

// KindOf gives what is known of a structure.
func KindOf(s mark.Structure) Kind {
	for _, k := range kinds {
		if k.Structure == s {
			return k
		}
	}
	return kind(s, "", string(s), "", 1)
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
