package pose

// Of says what kind of thing a source of uncertainty is.
type Of int

// Kinds of source.
const (
	FromSighting Of = iota // a coordinate of a mark, px
	FromLine               // a mark on a line, across it, px
	FromLength             // a known length, mm
	FromRelation           // a relation, in its sum's unit
	FromView               // what was supposed about a view's parameter, in its unit
)

// Source is one independent input with its standard deviation: a row of an
// uncertainty budget (JCGM 100, 4.3 and 5.1).
type Source struct {
	Of    Of
	Name  string
	Index int     // of the sighting, line, length or relation in the Input; of the view for FromView
	Axis  int     // of a sighting: 0 for x, 1 for y
	Kind  Kind    // of the parameter, for FromView
	SD    float64 // standard uncertainty, in the input's own unit
}

// sourcesOf a system, in the order of its rows.
func sourcesOf(s *system) []Source {
	in := s.in
	var out []Source
	for i, m := range in.Sightings {
		for axis, letter := range [2]string{" x", " y"} {
			out = append(out, Source{Of: FromSighting, Name: in.sightingName(i) + letter, Index: i, Axis: axis, SD: m.SD})
		}
	}
	for i, l := range in.OnLines {
		out = append(out, Source{Of: FromLine, Name: in.onLineName(i), Index: i, SD: l.SD})
	}
	for i, l := range in.Lengths {
		out = append(out, Source{Of: FromLength, Name: in.lengthName(i), Index: i, SD: l.SD})
	}
	for i, r := range in.Relations {
		out = append(out, Source{Of: FromRelation, Name: in.relationName(i), Index: i, SD: r.SD})
	}
	for _, f := range s.free {
		out = append(out, Source{Of: FromView, Name: in.viewName(f.view) + ": " + f.kind.String(), Index: f.view, Kind: f.kind, SD: f.sd})
	}
	return out
}
