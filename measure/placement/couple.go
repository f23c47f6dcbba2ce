package placement

import (
	"fmt"
	"math"
	"strings"

	"leadline/imaging/carm"
	"leadline/measure/mark"
	"leadline/measure/pose"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// couple is a frontal and a lateral film whose geometry is known, and how they
// stand to each other by all that is marked on both.
type couple struct {
	front, side *sheet
	in          pose.Input
	fit         *pose.Fit
	why         string         // why there is no fit
	assumed     bool           // the geometry of a film is supposed, not from its header
	points      map[string]int // of the adjustment, by name: N1/tip, L1/contact/0
	uids        []string       // of the marks behind its sightings, with their vertex: uid/vertex
}

// couple adjusts two films, once.
func (w *work) couple(front, side *sheet) *couple {
	key := [2]*sheet{front, side}
	if c, ok := w.couples[key]; ok {
		return c
	}
	c := &couple{front: front, side: side, points: map[string]int{}}
	if w.couples == nil {
		w.couples = map[[2]*sheet]*couple{}
	}
	w.couples[key] = c
	if !c.views() {
		return c
	}
	if a, b := front.reading.Film.Geometry.PatientPosition, side.reading.Film.Geometry.PatientPosition; a != "" && b != "" && a != b {
		w.gaps = append(w.gaps, fmt.Sprintf("The patient lay otherwise on the frontal film (%s) than on the lateral one (%s), by their headers: both together may not hold.", a, b))
	}
	for _, m := range front.marks {
		w.sight(c, m)
	}
	w.lengths(c)
	if len(c.in.Points) == 0 {
		c.why = "nothing is marked on both films"
		return c
	}
	var err error
	if c.fit, err = pose.Adjust(c.in); err != nil {
		c.why = strings.TrimPrefix(err.Error(), pose.ErrTooLittle.Error()+": ")
	}
	return c
}

// views sets what is known of how the films stood; false, with why, where that
// is too little.
func (c *couple) views() bool {
	shift := quantity.Rectangular(ViewShiftHalf)
	for i, s := range []*sheet{c.front, c.side} {
		name := []string{"frontal film", "lateral film"}[i]
		if s.camera != nil {
			c.in.Views = append(c.in.Views, viewOf(s, name))
			continue
		}
		if _, err := carm.FromGeometry(s.reading.Film.Geometry); err == nil {
			c.why = s.reading.Film.File + ": the geometry in its header contradicts what is known of the film"
			return false
		}
		v, why := supposed(s, name)
		if why != "" {
			c.why = s.reading.Film.File + ": " + why
			return false
		}
		c.in.Views = append(c.in.Views, v)
		c.assumed, shift = true, SupposedShift
	}
	c.in.Views[1].Shift = [3]float64{shift, shift, shift}
	return true
}

func viewOf(s *sheet, name string) pose.View {
	turn := quantity.Rectangular(AngleHalf)
	// A scale that is known to a part is the quotient of two distances.
	distance := quantity.Rectangular(scale.DistanceHalf) / math.Sqrt2
	spacing := s.camera.Pinhole().Spacing
	foot := quantity.Rectangular(FootHalf)
	return pose.View{
		Name: name, Nominal: *s.camera, Turn: [3]float64{turn, turn, turn},
		Detector: distance, Isocentre: distance, Foot: [2]float64{foot / spacing.Column, foot / spacing.Row},
	}
}

// sight adds what is one point on both films: a device's tip, a contact, the
// promontory, the tip of the coccyx.
func (w *work) sight(c *couple, m mark.Mark) {
	name, vertex := "", len(m.Points)-1
	var other mark.Mark
	found := false
	switch {
	case isDevice(m.Structure) && m.Object != "" && !c.front.twice[m.Object]:
		name = m.Object + "/tip"
		other, found = c.side.device(m.Object)
	case m.Structure == mark.Contact:
		name = fmt.Sprintf("%s/contact/%d", m.Object, m.Index)
		for _, k := range c.side.marks {
			if k.Structure == mark.Contact && k.Object == m.Object && k.Index == m.Index {
				other, found = k, true
			}
		}
	case m.Structure == mark.Promontory || m.Structure == mark.CoccyxTip:
		name = string(m.Structure)
		for _, k := range c.side.marks {
			if k.Structure == m.Structure {
				other, found = k, true
			}
		}
	}
	if _, twice := c.points[name]; !found || twice || other.Structure != m.Structure {
		return
	}
	p := len(c.in.Points)
	c.points[name] = p
	c.in.Points = append(c.in.Points, name)
	for view, k := range []mark.Mark{m, other} {
		v := vertex
		if view == 1 {
			v = len(k.Points) - 1
		}
		c.in.Sightings = append(c.in.Sightings, pose.Sighting{
			Name: name, View: view, Point: p, X: k.Points[v].X, Y: k.Points[v].Y, SD: math.Max(w.sd(k), leastSD),
		})
		c.uids = append(c.uids, fmt.Sprintf("%s/%d", k.UID, v))
	}
}

// leastSD in pixels keeps an adjustment from weighing a mark without limit.
const leastSD = 1e-3
