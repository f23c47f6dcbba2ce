package phantom

import (
	"encoding/json"
	"fmt"
	"math"
	"os"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Point of the patient in millimetres: x to the left, y to posterior, z to the
// head, from the isocentre.
type Point [3]float64

// Vec is the point as a vector.
func (p Point) Vec() r3.Vec { return r3.Vec{X: p[0], Y: p[1], Z: p[2]} }

func pointOf(v r3.Vec) Point { return Point{v.X, v.Y, v.Z} }

// Truth is what is known of the practice case beforehand.
type Truth struct {
	Coordinates string  `json:"coordinates"`
	Films       []Film  `json:"films"`
	Runs        []Run   `json:"runs"`
	Curves      []Curve `json:"curves"`
	// SacroiliacLine joins the lower ends of the joints: left, then right.
	SacroiliacLine [2]Point  `json:"sacroiliacLine"`
	Promontory     Point     `json:"promontory"`
	CoccyxTip      Point     `json:"coccyxTip"`
	SciaticNotches [2]Point  `json:"sciaticNotches"` // left, then right
	Foramina       []Opening `json:"foramina"`
	Needles        []Needle  `json:"needles"`
	MarkScatter    float64   `json:"markScatter"` // px, standard deviation per coordinate of the marks
}

// Curve of the sagittal plane, from head to foot: ventral-margin, dorsal-margin
// (the laminae, without the spinous crest), skin-line, and the fusion lines from
// ventral to dorsal (Detail S2/S3 and so on). At the needles' distance from the
// midline ventral margin and dorsal surface are the same, moved along x.
type Curve struct {
	Structure string  `json:"structure"`
	Detail    string  `json:"detail,omitempty"`
	Points    []Point `json:"points"`
}

// Opening of a foramen: its outline on the dorsal surface or ventral margin.
type Opening struct {
	Level   string  `json:"level"`
	Side    string  `json:"side"`    // the patient's
	Opening string  `json:"opening"` // dorsal or ventral
	Outline []Point `json:"outline"`
}

// Needle as it lies in the patient. Entry and exit are where its axis crosses
// dorsal surface and ventral margin.
type Needle struct {
	Object string `json:"object"`
	Side   string `json:"side"`
	Level  string `json:"level"`
	Hub    Point  `json:"hub"`
	Entry  Point  `json:"entry"`
	Exit   Point  `json:"exit"`
	Tip    Point  `json:"tip"`
	// Quantities in mm and degrees, in the patient, not on a film: depth along
	// the axis beyond the margin, angles as projected on the sagittal plane
	// between the axis from tip to hub and the reference towards the head
	// (towards the back for a fusion line).
	Quantities map[string]float64 `json:"quantities"`
}

// Film of the case.
type Film struct {
	File             string     `json:"file"`
	Instance         string     `json:"instance"` // SOP Instance UID
	View             string     `json:"view"`
	PrimaryAngle     float64    `json:"primaryAngle"`   // degrees
	SecondaryAngle   float64    `json:"secondaryAngle"` // degrees
	SourceToDetector float64    `json:"sourceToDetector"`
	SourceToPatient  float64    `json:"sourceToPatient"`
	PixelSpacing     [2]float64 `json:"imagerPixelSpacing"` // mm, row then column
	Columns          int        `json:"columns"`
	Rows             int        `json:"rows"`
	// Curves of the truth as they fall on this film, SR coordinates in pixels;
	// they may leave the image. The skin is its outermost edge.
	Curves []FilmCurve `json:"curves"`
}

// FilmCurve is a curve or outline on a film.
type FilmCurve struct {
	Structure string       `json:"structure"`
	Level     string       `json:"level,omitempty"`
	Side      string       `json:"side,omitempty"`
	Object    string       `json:"object,omitempty"`
	Detail    string       `json:"detail,omitempty"`
	Points    [][2]float64 `json:"points"`
}

// ReadTruth reads a truth.json written by Practice.
func ReadTruth(path string) (Truth, error) {
	var t Truth
	data, err := os.ReadFile(path)
	if err != nil {
		return t, fmt.Errorf("truth of the practice case: %w", err)
	}
	if err := json.Unmarshal(data, &t); err != nil {
		return t, fmt.Errorf("%w: %s: not the truth of a practice case: %v", imaging.ErrBadInput, path, err)
	}
	return t, nil
}

// shot is a film before it is taken.
type shot struct {
	file               string
	view               imaging.View
	primary, secondary float64
	time               string // of acquisition, HHMMSS
	number             int
	uid                string // SOP Instance UID

	series, seriesUID string // description and UID of its series
	seriesNumber      int
}

const heldImages = "Held fluoroscopy images"

var shots = []shot{
	{"frontal.dcm", imaging.Frontal, 180, 0, "091240", 1, "2.25.251506755222861882027883350212577699353", heldImages, seriesUID, 1},
	{"lateral.dcm", imaging.Lateral, 90, 0, "091655", 2, "2.25.334754989035096616748332646017360886846", heldImages, seriesUID, 1},
}

// knowledge gathers the truth from the anatomy and the needles.
func knowledge(m *midline, needles []needle) Truth {
	t := Truth{
		Coordinates: "patient mm from the isocentre: x to the left, y to posterior, z to the head",
		Promontory:  pointOf(m.point(0, 0, 0)),
		CoccyxTip:   pointOf(m.point(0, coccyxEnd, m.thickAt.Predict(coccyxEnd)/2)),
		MarkScatter: markScatter,
	}
	for i, side := range []float64{1, -1} {
		t.SacroiliacLine[i] = Point{side * jointAt(jointEnd.X, jointEnd.Y), jointEnd.X, jointEnd.Y}
		t.SciaticNotches[i] = Point{side * (jointAt(notchTop.X, notchTop.Y) + 5), notchTop.X, notchTop.Y}
	}
	t.Curves = curves(m)
	for _, f := range foramina {
		for _, side := range []float64{1, -1} {
			for _, which := range []string{"dorsal", "ventral"} {
				o := Opening{Level: f.level, Side: sideName(side), Opening: which}
				for _, p := range f.outline(m, which == "dorsal", side, 72) {
					o.Outline = append(o.Outline, pointOf(p))
				}
				t.Foramina = append(t.Foramina, o)
			}
		}
	}
	for _, n := range needles {
		t.Needles = append(t.Needles, Needle{
			Object: n.object, Side: n.side, Level: "S3",
			Hub: pointOf(n.hub), Entry: pointOf(n.entry), Exit: pointOf(n.exit), Tip: pointOf(n.tip),
			Quantities: n.quantities(m, t),
		})
	}
	return t
}

// curves of the sagittal plane, a point every millimetre of the ventral margin.
func curves(m *midline) []Curve {
	ventral, dorsal := Curve{Structure: "ventral-margin"}, Curve{Structure: "dorsal-margin"}
	for s := 0.0; s <= sacrumEnd; s++ {
		ventral.Points = append(ventral.Points, pointOf(m.point(0, s, 0)))
		if s >= laminaTop {
			dorsal.Points = append(dorsal.Points, pointOf(m.point(0, s, m.thickAt.Predict(s))))
		}
	}
	skin := Curve{Structure: "skin-line"}
	for z := 90.0; z >= -90; z-- {
		skin.Points = append(skin.Points, Point{0, skinAt(0, z), z})
	}
	out := []Curve{ventral, dorsal, skin}
	for i, s := range fusionAt {
		c := Curve{Structure: "fusion-line", Detail: fmt.Sprintf("S%d/S%d", i+1, i+2)}
		deep := m.bodyDepth(s)
		for k := 0.0; k <= 10; k++ {
			c.Points = append(c.Points, pointOf(m.point(0, s, deep*k/10)))
		}
		out = append(out, c)
	}
	return out
}

// quantities of a needle in the patient.
func (n needle) quantities(m *midline, t Truth) map[string]float64 {
	flat := func(p r3.Vec) r2.Vec { return r2.Vec{X: p.Z, Y: p.Y} }
	up := r3.Unit(r3.Sub(n.hub, n.tip))
	axis := flat(up)
	angle := func(ref r2.Vec) float64 {
		return math.Acos(r2.Dot(axis, ref)/(r2.Norm(axis)*r2.Norm(ref))) * 180 / math.Pi
	}
	dorsal, ventral := tangentNear(m.dorsal, flat(n.entry)), tangentNear(m.ventral, flat(n.exit))
	q := map[string]float64{
		"entry-offset-midline":    math.Abs(n.entry.X),
		"tip-offset-midline":      math.Abs(n.tip.X),
		"tip-caudal-to-si-line":   t.SacroiliacLine[0][2] - n.tip.Z,
		"insertion-angle-dorsal":  angle(dorsal),
		"insertion-angle-chord":   angle(m.dorsalChord(flat(n.entry))),
		"insertion-angle-ventral": angle(ventral),
		"insertion-angle-surface": math.Asin(math.Abs(r3.Dot(up, r3.Vec{Y: dorsal.X, Z: -dorsal.Y}))) * 180 / math.Pi,
		"tip-depth-along-needle":  r3.Dot(r3.Sub(n.exit, n.tip), up),
	}
	skin := midlineSkin()
	if at, ok := crossing(skin, flat(n.entry), axis); ok {
		q["insertion-angle-skin"] = angle(tangentNear(skin, r2.Add(flat(n.entry), r2.Scale(at, axis))))
	}
	for _, c := range t.Curves {
		if c.Structure == "fusion-line" {
			first, last := c.Points[0], c.Points[len(c.Points)-1]
			q["insertion-angle-fusion "+c.Detail] = angle(flat(r3.Sub(last.Vec(), first.Vec())))
		}
	}
	// Beyond the margin is where the needle's points go on from the exit.
	sign := 1.0
	if q["tip-depth-along-needle"] < 0 {
		sign = -1
	}
	q["tip-depth-perpendicular"] = sign * distance(m.ventral, flat(n.tip))
	for _, o := range t.Foramina {
		if o.Level == "S3" && o.Side == n.side && o.Opening == "dorsal" {
			medial, top := math.Inf(1), math.Inf(-1)
			for i, p := range o.Outline {
				next := o.Outline[(i+1)%len(o.Outline)]
				top = max(top, p[2])
				if (p[2] > n.entry.Z) != (next[2] > n.entry.Z) {
					f := (n.entry.Z - p[2]) / (next[2] - p[2])
					medial = min(medial, math.Abs(p[0]+f*(next[0]-p[0])))
				}
			}
			q["entry-from-foramen-medial"] = math.Abs(n.entry.X) - medial
			q["entry-from-foramen-superior"] = top - n.entry.Z
		}
	}
	return q
}

// tangentNear is the unit direction, towards the head, of the polyline where it
// runs closest to p.
func tangentNear(line []r2.Vec, p r2.Vec) r2.Vec {
	best, dir := math.Inf(1), r2.Vec{}
	for i := 1; i < len(line); i++ {
		if d := pieceDistance(line[i-1], line[i], p); d < best {
			best, dir = d, r2.Unit(r2.Sub(line[i-1], line[i]))
		}
	}
	if dir.X < 0 {
		dir = r2.Scale(-1, dir)
	}
	return dir
}

// distance from p to the polyline.
func distance(line []r2.Vec, p r2.Vec) float64 {
	best := math.Inf(1)
	for i := 1; i < len(line); i++ {
		best = min(best, pieceDistance(line[i-1], line[i], p))
	}
	return best
}

func pieceDistance(a, b, p r2.Vec) float64 {
	e, q := r2.Sub(b, a), r2.Sub(p, a)
	f := max(0, min(1, r2.Dot(q, e)/r2.Norm2(e)))
	return r2.Norm(r2.Sub(q, r2.Scale(f, e)))
}

// onFilm projects the truth.
func (t Truth) onFilm(s shot, c carm.Camera) Film {
	g := geometry(s.primary, s.secondary)
	f := Film{
		File: s.file, Instance: s.uid, View: string(s.view),
		PrimaryAngle: s.primary, SecondaryAngle: s.secondary,
		SourceToDetector: sourceToDetector, SourceToPatient: sourceToPatient,
		PixelSpacing: [2]float64{g.ImagerSpacing.Row, g.ImagerSpacing.Column},
		Columns:      g.Columns, Rows: g.Rows,
	}
	project := func(points ...Point) [][2]float64 {
		var out [][2]float64
		for _, p := range points {
			if px, ok := c.Project(p.Vec()); ok {
				out = append(out, [2]float64{px.X, px.Y})
			}
		}
		return out
	}
	for _, curve := range t.Curves {
		points := curve.Points
		if curve.Structure == "skin-line" {
			points = nil
			if s.view == imaging.Lateral {
				for _, p := range curve.Points {
					points = append(points, pointOf(skinSilhouette(p[2], math.Sin(s.primary*math.Pi/180))))
				}
			}
		}
		if points != nil {
			f.Curves = append(f.Curves, FilmCurve{Structure: curve.Structure, Detail: curve.Detail, Points: project(points...)})
		}
	}
	for _, o := range t.Foramina {
		f.Curves = append(f.Curves, FilmCurve{Structure: "foramen", Level: o.Level, Side: o.Side, Detail: o.Opening, Points: project(o.Outline...)})
	}
	for i, side := range []string{"left", "right"} {
		f.Curves = append(f.Curves, FilmCurve{Structure: "sciatic-notch", Side: side, Points: project(t.SciaticNotches[i])})
	}
	f.Curves = append(f.Curves,
		FilmCurve{Structure: "si-line", Points: project(t.SacroiliacLine[:]...)},
		FilmCurve{Structure: "promontory", Points: project(t.Promontory)},
		FilmCurve{Structure: "coccyx-tip", Points: project(t.CoccyxTip)})
	for _, n := range t.Needles {
		f.Curves = append(f.Curves, FilmCurve{Structure: "needle", Side: n.Side, Object: n.Object, Points: project(n.Hub, n.Entry, n.Exit, n.Tip)})
	}
	return f
}
