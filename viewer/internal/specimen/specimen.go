// Package specimen is an invented pair of films for the viewer's tests:
// pictures, marks and figures made up to be drawn, not computed.
package specimen

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
)

// Size of a film in pixels, both ways.
const Size = 1024

// Marks of both films.
func Marks() []mark.Mark {
	f, l := mark.One("1.2.1", 1), mark.One("1.2.2", 1)
	m := func(ref mark.FrameRef, uid string, s mark.Structure, object string, xy ...float64) mark.Mark {
		out := mark.Mark{UID: uid, Frame: ref, Structure: s, Object: object, Origin: mark.ByHand}
		for i := 0; i+1 < len(xy); i += 2 {
			out.Points = append(out.Points, r2.Vec{X: xy[i], Y: xy[i+1]})
		}
		return out
	}
	oval := func(uid string, side mark.Side, x, y float64) mark.Mark {
		out := m(f, uid, mark.Foramen, "")
		out.Level, out.Side, out.Detail = "S3", side, "dorsal"
		for i := range 8 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / 8)
			out.Points = append(out.Points, r2.Vec{X: x + 44*c, Y: y + 36*s})
		}
		return out
	}
	fusion := m(l, "2.5", mark.FusionLine, "", 502, 440, 655, 452)
	fusion.Detail = "S2/S3"
	return []mark.Mark{
		m(f, "1.1", mark.Midline, "", 512, 170, 512, 480, 512, 930),
		m(f, "1.2", mark.SILine, "", 110, 402, 915, 402),
		oval("1.3", mark.LeftSide, 365, 490), oval("1.4", mark.RightSide, 660, 490),
		m(f, "1.5", mark.Needle, "N1", 346, 385, 366, 480, 378, 560),
		m(f, "1.6", mark.Needle, "N2", 700, 330, 672, 470, 652, 620),
		m(l, "2.1", mark.VentralMargin, "", 330, 160, 400, 250, 460, 350, 500, 460, 515, 570, 505, 690, 470, 800, 430, 880),
		m(l, "2.2", mark.DorsalMargin, "", 540, 160, 610, 270, 650, 390, 665, 510, 655, 640, 620, 760, 560, 860),
		m(l, "2.3", mark.Needle, "N1", 935, 392, 720, 480, 494, 573),
		m(l, "2.4", mark.Needle, "N2", 905, 330, 690, 490, 453, 666),
		fusion,
		m(l, "2.6", mark.Promontory, "", 322, 148),
	}
}

// Placement made up to go with the marks.
func Placement() placement.Placement {
	s := scale.Scale{Row: 0.23, Column: 0.23, Known: true, Plane: scale.FieldCentre,
		Source: "Imager Pixel Spacing and the two distances", Relative: 0.005, PlaneOffset: 0.009}
	film := func(uid string, v imaging.View, angle float64, orient [2]string) placement.FilmReading {
		h := &imaging.Header{SOPInstance: uid, Columns: Size, Rows: Size, Frames: 1}
		g := imaging.Geometry{Columns: Size, Rows: Size, PrimaryAngle: imaging.Known(angle),
			SecondaryAngle: imaging.Known(0), PatientOrientation: orient}
		return placement.FilmReading{
			Film: placement.Film{Ref: mark.One(uid, 1), Header: h, Geometry: g},
			View: v, Cranial: imaging.Top, Scale: s, Points: map[string]placement.Point{},
		}
	}
	frontal := film("1.2.1", imaging.Frontal, 180, [2]string{"R", "F"})
	frontal.PatientLeft, frontal.LeftSource = imaging.Left, "header"
	frontal.Points["N1/entry"] = placement.Point{X: 366, Y: 480}
	frontal.Points["N2/entry"] = placement.Point{X: 672, Y: 470}
	lateral := film("1.2.2", imaging.Lateral, 90, [2]string{"P", "F"})
	lateral.Points["N1/entry"] = placement.Point{X: 664.5, Y: 503}
	lateral.Points["N1/exit"] = placement.Point{X: 514, Y: 565}
	lateral.Points["N2/entry"] = placement.Point{X: 664, Y: 509}
	lateral.Points["N2/exit"] = placement.Point{X: 512, Y: 622}

	r := func(object, quantity, plane string, value, u float64, unit string) placement.Result {
		return placement.Result{Object: object, Quantity: quantity, Plane: plane, Value: value, Unit: unit,
			HasU: true, U95: u, Lo: value - u, Hi: value + u, Contact: -1}
	}
	return placement.Placement{
		Films: []placement.FilmReading{frontal, lateral},
		Devices: []placement.Device{
			{Object: "N1", Kind: mark.Needle, Side: mark.LeftSide, SideSource: "from header, not confirmed", Level: "S3", LevelSource: "sacroiliac line only"},
			{Object: "N2", Kind: mark.Needle, Side: mark.RightSide, SideSource: "lead marker in the field, observer A", SideConfirmed: true, Level: "S3", LevelSource: "counted from above", LevelConfirmed: true},
		},
		Results: []placement.Result{
			r("N1", "tip-depth-along-needle", "lateral", 4.9, 1.9, "mm"),
			r("N1", "insertion-angle-chord", "lateral", 68.3, 3.2, "deg"),
			r("N1", "insertion-angle-fusion", "lateral", 26.8, 3.4, "deg"),
			r("N1", "entry-offset-midline", "frontal", 33.6, 1.7, "mm"),
			r("N2", "tip-depth-along-needle", "lateral", 16.7, 2.2, "mm"),
			r("N2", "insertion-angle-chord", "lateral", 55.1, 3.1, "deg"),
			r("N2", "insertion-angle-fusion", "lateral", 40.5, 3.4, "deg"),
			r("N2", "entry-offset-midline", "frontal", 36.8, 1.7, "mm"),
			r("N2", "entry-from-foramen-medial", "frontal", 2.9, 2.3, "mm"),
			r("N2", "tip-caudal-to-si-line", "frontal", 50.1, 2.6, "mm"),
		},
		Missing:  []placement.Missing{{Object: "N1", Quantity: "insertion-angle-skin", Because: "mark the skin line on the lateral film"}},
		Cautions: []string{"Side from header, not confirmed.", "Level rests on the sacroiliac line alone.", "Needle identity on the lateral film is not proven."},
	}
}

// Gray is a picture with bright and dark parts under every mark.
func Gray() *image.Gray {
	img := image.NewGray(image.Rect(0, 0, Size, Size))
	noise := uint32(1)
	for y := range Size {
		for x := range Size {
			dx, dy := float64(x)-512, float64(y)-512
			if math.Hypot(dx, dy) > 505 {
				continue
			}
			v := 205 - 60*math.Exp(-dx*dx/90000) - 0.03*dy
			if bone := math.Hypot(dx+620, dy-30); bone > 600 && bone < 800 {
				v -= 85
			}
			if math.Mod(float64(y), 150) < 12 && math.Abs(dx) < 190 {
				v -= 60
			}
			noise = noise*1664525 + 1013904223
			v += float64(noise>>24)/16 - 8
			img.SetGray(x, y, color.Gray{Y: uint8(math.Max(0, math.Min(255, v)))})
		}
	}
	return img
}
