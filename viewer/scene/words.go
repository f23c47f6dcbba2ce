package scene

import (
	"fmt"
	"math"
	"strings"

	"leadline/imaging"
	"leadline/imaging/carm"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
)

// Cautions every picture carries.
const (
	CautionReview = placement.CautionReview
	CautionDepth  = placement.CautionCortex
)

// SideLevel says side and level of a device: RIGHT · S3. Where sources
// disagree the side is withheld, whatever the device's Side says.
func SideLevel(d placement.Device) string {
	side := "SIDE NOT KNOWN"
	switch {
	case d.SideConflict != "":
		side = "SIDE WITHHELD"
	case d.Side == mark.MiddleSide:
		side = "MIDLINE"
	case d.Side != mark.NoSide:
		side = strings.ToUpper(string(d.Side))
	}
	level := "LEVEL NOT KNOWN"
	switch {
	case d.LevelConflict != "":
		level = "LEVEL WITHHELD"
	case d.Level != "":
		level = string(d.Level)
	}
	return side + " · " + level
}

// SideBasis says what the side rests on.
func SideBasis(d placement.Device) string {
	switch {
	case d.SideConflict != "":
		return "side: " + d.SideConflict
	case d.Side == mark.NoSide:
		return "side: " + orNotKnown(d.SideSource)
	}
	return "side: " + basis(d.SideSource, d.SideConfirmed)
}

// LevelBasis says what the level rests on.
func LevelBasis(d placement.Device) string {
	switch {
	case d.LevelConflict != "":
		return "level: " + d.LevelConflict
	case d.Level == "":
		return "level: " + orNotKnown(d.LevelSource)
	}
	return "level: " + basis(d.LevelSource, d.LevelConfirmed)
}

// orNotKnown is why something is not known, where that is said.
func orNotKnown(why string) string {
	if why == "" {
		return "not known"
	}
	return why
}

func basis(source string, confirmed bool) string {
	if source == "" {
		source = "basis not given"
	}
	if confirmed || strings.Contains(source, "not confirmed") {
		return source
	}
	return source + ", not confirmed"
}

func caseLine(d placement.Device) CaseLine {
	return CaseLine{
		Object: d.Object, Style: Style(d.Object),
		Words: SideLevel(d), Side: SideBasis(d), Level: LevelBasis(d),
		SideSure: d.SideConfirmed && d.SideConflict == "" && !mark.Contradicted(d.SideSource), LevelSure: d.LevelConfirmed && d.LevelConflict == "",
		Refused: d.SideConflict != "" || d.LevelConflict != "",
	}
}

// DeviceName says N1.2 as "needle N1, position 2".
func DeviceName(object string) string {
	kind, _, position := splitObject(object)
	base, _, numbered := strings.Cut(object, ".")
	name := base
	switch kind {
	case 'N':
		name = "needle " + base
	case 'W':
		name = "wire " + base
	case 'L':
		name = "lead " + base
	}
	if numbered {
		name += fmt.Sprintf(", position %d", position)
	}
	return name
}

// title of a view.
func title(v imaging.View) string {
	switch v {
	case imaging.Frontal:
		return "Frontal"
	case imaging.Lateral:
		return "Lateral"
	case imaging.Oblique:
		return "Oblique"
	}
	return "View not known"
}

// aspect says where the film is seen from and how the C-arm stood. Where a side
// is disputed so is where the film is seen from, and only the angles are said.
func aspect(film placement.FilmReading, disputed bool) string {
	var parts []string
	switch {
	case film.CranialConflict != "":
		parts = append(parts, "cranial direction withheld")
	case film.Cranial == imaging.NoEdge:
		parts = append(parts, "cranial direction not known")
	}
	if film.View == imaging.Frontal && film.LeftConflict != "" {
		parts = append(parts, "left and right withheld")
	}
	if s := seenFrom(film); s != "" && !disputed {
		parts = append(parts, s)
	}
	g := film.Film.Geometry
	if g.PrimaryAngle.Known {
		s := "C-arm " + degrees(g.PrimaryAngle.Value)
		if b := g.SecondaryAngle; b.Known && math.Abs(b.Value) >= 0.5 {
			tilt := "cranial"
			if b.Value < 0 {
				tilt = "caudal"
			}
			s += fmt.Sprintf(", %.0f° %s", math.Abs(b.Value), tilt)
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, ", ")
}

func degrees(a float64) string {
	r := math.Round(a)
	switch {
	case r == 0:
		return "0°"
	case math.Abs(r) == 180:
		return "180°"
	case r > 0:
		return fmt.Sprintf("+%.0f°", r)
	}
	return fmt.Sprintf("−%.0f°", -r)
}

// seenFrom tells from which side the film shows the patient: standing before
// the picture with cranial up, the patient's left to the viewer's left is seen
// from behind; ventral to the viewer's left is seen from the patient's left.
func seenFrom(film placement.FilmReading) string {
	if film.Cranial == imaging.NoEdge {
		return ""
	}
	up := View{Quarter: UpQuarter(film.Cranial)}
	switch film.View {
	case imaging.Frontal:
		if film.LeftConflict != "" {
			return ""
		}
		switch up.EdgeShown(film.PatientLeft) {
		case imaging.Left:
			return "seen from behind"
		case imaging.Right:
			return "seen from the front"
		}
	case imaging.Lateral:
		switch up.EdgeShown(headerVentral(film)) {
		case imaging.Left:
			return "seen from the left"
		case imaging.Right:
			return "seen from the right"
		}
	}
	return ""
}

// headerVentral is the edge nearest the patient's front by the header: Patient
// Orientation (0020,0020), or what the positioner's angles predict. NoEdge where
// neither says it or the two differ.
func headerVentral(film placement.FilmReading) imaging.Edge {
	g := film.Film.Geometry
	stated := imaging.Orientation{Row: g.PatientOrientation[0], Column: g.PatientOrientation[1]}.EdgeOf('A')
	byAngles := imaging.NoEdge
	if o, ok := carm.Orientation(g); ok {
		byAngles = o.EdgeOf('A')
	}
	switch {
	case stated == imaging.NoEdge:
		return byAngles
	case byAngles != imaging.NoEdge && byAngles != stated:
		return imaging.NoEdge
	}
	return stated
}

// scaleBar says which bar may be drawn and what it rests on.
func scaleBar(s scale.Scale) Bar {
	if !s.Known {
		why := s.Because
		if why == "" {
			why = "the header gives no spacing"
		}
		return Bar{Words: "No scale: " + why}
	}
	words, caution := "", false
	switch s.Plane {
	case scale.FieldCentre:
		words = "at the field's centre"
	case scale.KnownLength:
		words = "in the known length's plane"
	case scale.Calibrated:
		words = "calibrated"
	case scale.DetectorPlane:
		words, caution = "on the detector, magnified", true
	case scale.UnknownPlane:
		words, caution = "plane unknown, may be magnified", true
	}
	if s.MaxMagnification > 1 {
		words += fmt.Sprintf(" up to %.1f times", s.MaxMagnification)
	}
	if s.Source != "" {
		words += ", " + s.Source
	}
	if u := 2 * math.Hypot(s.Relative, s.PlaneOffset); u > 0 {
		words += fmt.Sprintf(", ± %s %%", percent(100*u))
	}
	return Bar{Known: true, PerColumn: s.Column, Words: strings.TrimPrefix(words, ", "), Caution: caution}
}

func percent(p float64) string {
	if p < 1 {
		return fmt.Sprintf("%.1f", p)
	}
	return fmt.Sprintf("%.0f", math.Ceil(p-0.05))
}
