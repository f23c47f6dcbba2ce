package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Direction a film is taken in: positioner angles in degrees (PS3.3
// C.8.7.5.1.2).
type Direction struct{ Primary, Secondary float64 }

// Backdrop is the made-up body, without devices, seen from one direction: what
// takes long of a film, done once for many.
type Backdrop struct {
	direction Direction
	camera    carm.Camera
	back      plate
}

// Backdrops of the body from some directions.
func Backdrops(directions ...Direction) ([]Backdrop, error) {
	var out []Backdrop
	for _, d := range directions {
		c, err := carm.FromGeometry(geometry(d.Primary, d.Secondary))
		if err != nil {
			return nil, err
		}
		out = append(out, Backdrop{direction: d, camera: c})
	}
	quiet := func(float64) {}
	v := newVolume(newAnatomy(newMidline()), volumeLow, volumeHigh, quiet)
	for i := range out {
		out[i].back = opaque(out[i].camera, v, quiet)
	}
	return out, nil
}

// Empty is a backdrop without any body, seen from d.
func Empty(d Direction) (Backdrop, error) {
	c, err := carm.FromGeometry(geometry(d.Primary, d.Secondary))
	return Backdrop{direction: d, camera: c, back: newPlate(filmSide / 2)}, err
}

// Exposure is how a film is taken and what lies in the body.
type Exposure struct {
	// Quanta is how many photons a pixel takes up on average in the middle of
	// the film; 0 as in the practice case.
	Quanta float64
	// Blur of focal spot and detector, a standard deviation in pixels; 0 as in
	// the practice case.
	Blur    float64
	Needles bool // those of the practice case
	Leads   []Lead
	Seed    uint64 // of the noise
}

// Film takes a film: stored values as the practice case has them, with the
// pixel attributes and geometry of its header.
func (b Backdrop) Film(e Exposure) *imaging.Frame {
	if e.Quanta == 0 {
		e.Quanta = quanta
	}
	if e.Blur == 0 {
		e.Blur = focalBlur
	}
	primary := b.back.doubled()
	if e.Needles {
		m := newMidline()
		for _, p := range plans {
			p.place(m).cast(b.camera, primary)
		}
	}
	for _, l := range e.Leads {
		l.cast(b.camera, primary)
	}
	seen := photons(primary, e.Quanta, e.Blur, e.Seed)
	// The monitor's level does not tell how many photons made the picture.
	for i := range seen.v {
		seen.v[i] *= quanta / e.Quanta
	}
	return &imaging.Frame{
		Header: &imaging.Header{
			Modality: "XA", Columns: filmSide, Rows: filmSide, Frames: 1,
			Photometric: "MONOCHROME2", SamplesPerPixel: 1,
			BitsAllocated: 16, BitsStored: bitsStored, HighBit: bitsStored - 1,
			Windows: []imaging.Window{{Center: windowCentre, Width: windowWidth, Function: imaging.Linear}},
			Base:    geometry(b.direction.Primary, b.direction.Secondary),
		},
		First: 1, Last: 1, Columns: filmSide, Rows: filmSide,
		Samples: develop(seen),
	}
}

// Project gives where a point of the patient falls on the film, SR coordinates
// in pixels.
func (b Backdrop) Project(p Point) (r2.Vec, bool) { return b.camera.Project(p.Vec()) }

// Curves of the truth as they fall on the film, without those of the needles.
func (b Backdrop) Curves() []FilmCurve {
	view := imaging.Frontal
	if math.Abs(math.Sin(b.direction.Primary*math.Pi/180)) > math.Sqrt2/2 {
		view = imaging.Lateral
	}
	s := shot{view: view, primary: b.direction.Primary, secondary: b.direction.Secondary}
	return knowledge(newMidline(), nil).onFilm(s, b.camera).Curves
}
