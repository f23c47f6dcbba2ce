package placement

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/carm"
	"leadline/measure/mark"
	"leadline/measure/pose"
	"leadline/measure/quantity"
)

// What is supposed of a film whose header does not give its geometry: most
// mobile C-arms write none. Nominal values, and standard deviations; common
// practice, no source. What is marked on both films and known lengths then fix
// what they can, and pose.Adjust refuses where that is too little.
const (
	SupposedDetector  = 1000.0 // mm, source to detector
	SupposedIsocentre = 650.0  // mm, source to the middle of the field
	SupposedField     = 230.0  // mm, width of the field at the detector
	SupposedDistance  = 0.10   // relative, of either distance
	SupposedTurn      = 5.0    // degrees, half width about each axis
	SupposedShift     = 30.0   // mm, of the lateral film's isocentre
	SupposedFoot      = 0.02   // of the film's width
)

// supposed is the view of a film whose geometry is not in its header, by what is
// known of how it shows the patient.
func supposed(s *sheet, name string) (pose.View, string) {
	r, g := s.reading, s.reading.Film.Geometry
	if r.LeftConflict != "" || r.CranialConflict != "" {
		return pose.View{}, "what is known of how the film shows the patient contradicts itself"
	}
	if s.cranial.X == 0 && s.cranial.Y == 0 {
		return pose.View{}, s.noHead
	}
	left := r.PatientLeft
	primaries := []float64{0, 180}
	if r.View == imaging.Lateral {
		primaries = []float64{90, -90}
	}
	if r.View == imaging.Frontal && left == imaging.NoEdge {
		return pose.View{}, "which edge is the patient's left is not known: confirm it"
	}
	if g.PrimaryAngle.Known && g.SecondaryAngle.Known {
		if v, ok := g.ViewByAngles(); !ok || v != r.View {
			return pose.View{}, "the positioner's angles do not go with the view"
		}
	}
	// The film as it would be stored at each of the view's directions, turned and
	// mirrored in every way: the one that shows the head, and the left or the
	// front, where they are seen.
	width := float64(g.Columns)
	pitch := SupposedField / width
	aspect := 1.0
	if r.Scale.Column > 0 {
		aspect = r.Scale.Row / r.Scale.Column
	}
	for _, primary := range primaries {
		for _, flip := range []string{"NO", "YES"} {
			for _, turned := range []float64{0, 90, 180, 270} {
				k := imaging.Geometry{
					Kind: imaging.KindXA, Columns: g.Columns, Rows: g.Rows,
					ImagerSpacing:    imaging.Spacing{Column: pitch, Row: pitch * aspect, Known: true},
					SourceToDetector: imaging.Known(SupposedDetector), SourceToPatient: imaging.Known(SupposedIsocentre),
					PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(0),
					FieldOfViewRotation: imaging.Known(turned), FieldOfViewFlip: flip,
				}
				o, ok := carm.Orientation(k)
				if !ok || o.EdgeOf('H') != r.Cranial || !s.shows(o) {
					continue
				}
				c, err := carm.FromGeometry(k)
				if err != nil {
					continue
				}
				turn := quantity.Rectangular(SupposedTurn)
				return pose.View{
					Name: name, Nominal: c, Turn: [3]float64{turn, turn, turn},
					Detector: SupposedDistance, Isocentre: SupposedDistance,
					Foot: [2]float64{SupposedFoot * width, SupposedFoot * width},
				}, ""
			}
		}
	}
	return pose.View{}, "how it shows the patient is not known: confirm view, cranial direction and side"
}

// scaleWords says where lengths in space come from.
func (c *couple) scaleWords() string {
	if !c.assumed {
		return "both films together, by the geometry in their headers"
	}
	rel := 0.0
	for p := range c.in.Points {
		if _, _, r := c.fit.Scale(1, p); r > rel {
			rel = r
		}
	}
	return fmt.Sprintf("both films together, their geometry fitted to what is marked and to known lengths (scale within %.1f %%, one standard deviation)", 100*rel)
}

// shows reports whether the film shows the patient so: its left on a frontal
// film, its back, by the marked surfaces, on a lateral one.
func (s *sheet) shows(o imaging.Orientation) bool {
	r := s.reading
	if r.View == imaging.Frontal {
		return o.EdgeOf('L') == r.PatientLeft
	}
	back := o.EdgeOf('P')
	if p := (imaging.Orientation{Row: r.Film.Geometry.PatientOrientation[0], Column: r.Film.Geometry.PatientOrientation[1]}); p.Known() {
		if e := p.EdgeOf('P'); e != imaging.NoEdge {
			return e == back
		}
	}
	dorsalward, ok := s.dorsalward()
	x, y := back.Direction()
	return ok && r2.Dot(dorsalward, r2.Vec{X: x, Y: y}) > 0
}

// dorsalward points, in pixels, from the marked ventral margin to the marked
// dorsal surface.
func (s *sheet) dorsalward() (r2.Vec, bool) {
	dorsal, okD := s.first(mark.DorsalMargin)
	ventral, okV := s.first(mark.VentralMargin)
	if !okD || !okV {
		return r2.Vec{}, false
	}
	middle := func(points []r2.Vec) (m r2.Vec) {
		for _, p := range points {
			m = r2.Add(m, r2.Scale(1/float64(len(points)), p))
		}
		return m
	}
	return r2.Sub(middle(dorsal.Points), middle(ventral.Points)), true
}

// backAsMarked reports whether the margins lie as the header has the patient's
// back, or do not tell.
func (s *sheet) backAsMarked() bool {
	d, ok := s.dorsalward()
	o, known := carm.Orientation(s.reading.Film.Geometry)
	if !ok || !known {
		return true
	}
	x, y := o.EdgeOf('P').Direction()
	return r2.Dot(d, r2.Vec{X: x, Y: y}) >= 0
}

// lengths adds the known lengths that are marked on both films: of the same
// device and length, with their ends in the same order.
func (w *work) lengths(c *couple) {
	for _, a := range c.front.marks {
		mm, ok := a.Length()
		if a.Structure != mark.KnownLength || !ok || len(a.Points) != 2 {
			continue
		}
		for _, b := range c.side.marks {
			if b.Structure != mark.KnownLength || b.Object != a.Object || b.Detail != a.Detail || len(b.Points) != 2 {
				continue
			}
			name := strings.TrimSpace(a.Object + " known length " + a.Detail)
			if _, twice := c.points[name+"/0"]; twice {
				continue
			}
			first := len(c.in.Points)
			for end := range 2 {
				c.points[fmt.Sprintf("%s/%d", name, end)] = first + end
				c.in.Points = append(c.in.Points, fmt.Sprintf("%s/end %d", name, end+1))
				for view, m := range []mark.Mark{a, b} {
					c.in.Sightings = append(c.in.Sightings, pose.Sighting{
						Name: name, View: view, Point: first + end, X: m.Points[end].X, Y: m.Points[end].Y, SD: max(w.sd(m), leastSD),
					})
					c.uids = append(c.uids, fmt.Sprintf("%s/%d", m.UID, end))
				}
			}
			c.in.Lengths = append(c.in.Lengths, pose.Length{Name: name, A: first, B: first + 1, MM: mm, SD: LengthU * mm})
		}
	}
}

// LengthU is the relative standard uncertainty of a length the observer knows.
const LengthU = 0.005
