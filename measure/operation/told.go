package operation

import (
	"strings"

	"leadline/imaging/radiation"
)

// Told is the field's value for a reader, NotRecorded where it is blank.
func (r Record) Told(name string) string {
	if said := r.told(name); said != "" {
		return said
	}
	return NotRecorded
}

func (r Record) told(name string) string {
	f, _ := FieldNamed(name)
	value := r[name]
	if rest, ok := strings.CutPrefix(value, "other: "); ok && (f.Form == OneOf || f.Form == SeveralOf) {
		return rest
	}
	switch f.Form {
	case OneOf, SeveralOf:
		var said []string
		for _, w := range strings.Fields(value) {
			for _, t := range f.Terms {
				if t.Word == w {
					said = append(said, t.Reads)
				}
			}
		}
		return enumerate(said)
	case Impedances:
		var said []string
		for _, w := range strings.Fields(value) {
			contact, ohms, _ := strings.Cut(w, ":")
			said = append(said, "contact "+contact+" "+ohms+" Ω")
		}
		return strings.Join(said, ", ")
	}
	return value
}

func enumerate(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, "")
}

// Radiation are the figures typed in from the console.
func (r Record) Radiation() []radiation.Figure {
	var out []radiation.Figure
	for _, f := range fields {
		if f.Form != Dose || r[f.Name] == "" {
			continue
		}
		if figure, err := f.dose(r[f.Name]); err == nil {
			out = append(out, figure)
		}
	}
	return out
}
