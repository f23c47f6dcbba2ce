package placement

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"

	"leadline/imaging"
	"leadline/measure/curve"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// Assumptions behind the budget that no header tells: half widths of
// rectangular distributions. None has a published source.
const (
	// EdgeFloor in millimetres (standard uncertainty) is for taking one edge for
	// another: a doubled cortex, gas, the ilium. EdgeFloorPixels stands in
	// where there is no scale.
	EdgeFloor       = 0.5
	EdgeFloorPixels = 2.0
	// OffMidlineHalf in millimetres is how far off the plane of the landmarks
	// a device may lie along the beam: foramina lie some 23 mm off the midline.
	OffMidlineHalf = 30.0
	// TiltHalf is the slope, out of the film's plane, that a device may have
	// (a third is 19 degrees).
	TiltHalf = 0.35
	// RotationHalf in degrees is how far a view may be turned against the
	// patient without the header saying so. What the header does say is added:
	// single-plane values are not corrected for it.
	RotationHalf = 5.0
	// ViewShiftHalf and HeightHalf in millimetres are how far, along the
	// patient, two films may be shifted against each other: with the geometry of
	// both known, and with heights simply taken as equal. HeightFraction of the
	// film stands in where there is no scale.
	ViewShiftHalf  = 5.0
	HeightHalf     = 10.0
	HeightFraction = 0.02
	// InterpolationShare of the change that leaving one point out makes is
	// what the curve between the points may be off: the error of a cubic
	// spline's slope falls with the third power of the distance between points
	// (that of its place with the fourth), and leaving one out doubles it.
	InterpolationShare = 1.0 / 8
	// NearRim is the share of the out-of-plane terms that is left between an
	// entry and the rim of its own foramen, which lie at nearly one depth, and
	// TipReach what they grow to for a tip, which lies deeper than the entry.
	NearRim  = 0.2
	TipReach = 1.4
	// DistortionHalf is how much, as a part, a picture may be stretched or
	// drawn in at the edge of its field, growing with the square of the distance
	// from its middle.
	DistortionHalf = 0.01
)

// Budget keys.
const (
	byMarking       = "marking"
	byEdge          = "edge"
	byInterpolation = "interpolation"
	byScale         = "scale"
	byPlaneOffset   = "plane-offset"
	byOutOfPlane    = "out-of-plane"
	byRotation      = "rotation"
	byViewShift     = "view-shift"
	byDistortion    = "distortion"
)

// share is a standard uncertainty counted under a budget key.
type share struct {
	source, input string
	u             float64
}

// effect displaces one thing by x and so tells what depends on it.
type effect[T any] struct {
	shares []share // standard uncertainties in the unit of x
	step   float64 // displacement used for the slope
	apply  func(base T, x float64) T
}

// propagate gives each slot's terms by the slopes of central differences
// (JCGM 100, 5.1.3 and its note 2).
func propagate[T any](base T, evaluate func(T) *found, effects []effect[T], slots int) [][]quantity.Term {
	terms := make([][]quantity.Term, slots)
	for _, e := range effects {
		plus, minus := evaluate(e.apply(base, e.step)), evaluate(e.apply(base, -e.step))
		for s := range terms {
			slope := (plus.v[s] - minus.v[s]) / (2 * e.step)
			if math.IsNaN(slope) || slope == 0 {
				continue
			}
			for _, sh := range e.shares {
				if sh.u > 0 {
					terms[s] = append(terms[s], quantity.Term{Source: sh.source, Input: sh.input, U: slope * sh.u})
				}
			}
		}
	}
	return terms
}

const markStep = 0.05 // pixels

// vertices are the effects of a mark's own points; set puts a displaced mark
// back.
func vertices[T any](d drawn, set func(T, drawn) T) []effect[T] {
	var out []effect[T]
	for i := range d.px {
		for axis, v := range [2]r2.Vec{{X: 1}, {Y: 1}} {
			out = append(out, effect[T]{
				shares: []share{{byMarking, vertexName(d, i, axis), d.sd}},
				step:   markStep,
				apply:  func(t T, x float64) T { return set(t, d.moved(i, r2.Scale(x, v))) },
			})
		}
	}
	return out
}

// part is a mark that a value hangs on; set puts a displaced mark back.
type part[T any] struct {
	drawn drawn
	set   func(T, drawn) T
	curve bool // a spline goes through its points
}

const (
	// scatterDraws of all marks at once show whether the slopes tell the whole
	// of what marking does, to some 4 %.
	scatterDraws = 384
	// scatterOff is the part by which the two may differ and the slopes stand.
	scatterOff = 0.08
	// scatterLost is the share of draws that may have no value.
	scatterLost = 0.1
)

// scatter puts the marking terms right where the slopes do not tell the whole:
// lengths along a curve through points that lie close, the highest point of an
// outline, limits that a displaced mark crosses. All marks are drawn at once
// (JCGM 101), and where their scatter differs, the terms are made larger or
// smaller alike.
func scatter[T any](w *work, base T, evaluate func(T) *found, parts []part[T], terms [][]quantity.Term) {
	draws := make([][]float64, len(terms))
	streams := map[string][]float64{}
	for _, p := range parts {
		for i := range p.drawn.px {
			for axis := range 2 {
				name := streamName(p.drawn, i, axis)
				streams[name] = w.stream(name, scatterDraws)
			}
		}
	}
	for k := range scatterDraws {
		t := base
		for _, p := range parts {
			t = p.set(t, p.drawn.shifted(func(i int, px r2.Vec) r2.Vec {
				px.X += p.drawn.sd * quantity.Normal(streams[streamName(p.drawn, i, 0)][k])
				px.Y += p.drawn.sd * quantity.Normal(streams[streamName(p.drawn, i, 1)][k])
				return px
			}))
		}
		for s, v := range evaluate(t).v {
			if v == v {
				draws[s] = append(draws[s], v)
			}
		}
	}
	for s, d := range draws {
		if float64(len(d)) < (1-scatterLost)*scatterDraws {
			continue
		}
		linear := (quantity.Value{Terms: only(terms[s], byMarking)}).Standard()
		ratio := stat.StdDev(d, nil) / linear
		if !(linear > 0) || math.Abs(ratio-1) <= scatterOff {
			continue
		}
		for i := range terms[s] {
			if terms[s][i].Source == byMarking {
				terms[s][i].U *= ratio
			}
		}
	}
}

func only(terms []quantity.Term, source string) []quantity.Term {
	var out []quantity.Term
	for _, t := range terms {
		if t.Source == source {
			out = append(out, t)
		}
	}
	return out
}

func streamName(d drawn, i, axis int) string { return fmt.Sprintf("%s/%d/%d", d.key, i, axis) }

func vertexName(d drawn, i, axis int) string { return fmt.Sprintf("%s/%d/%d", d.uid, i, axis) }

// noiseOut is how many standard uncertainties of its own marking a point must
// be off the curve through the others for that to tell of the curve and not of
// the hand.
const noiseOut = 2.0

// omitted gives the interpolation terms: for each curve the largest change, in
// each slot, that leaving out one of its inner points makes, less what the
// marking of that point alone would make.
func omitted[T any](base T, evaluate func(T) *found, nominal *found, d drawn, set func(T, drawn) T, terms [][]quantity.Term) {
	if len(d.px) < curve.LeastPoints {
		return
	}
	byHand := make([]map[string]float64, len(terms))
	for s, t := range terms {
		byHand[s] = map[string]float64{}
		for _, k := range t {
			if k.Source == byMarking {
				byHand[s][k.Input] += k.U
			}
		}
	}
	largest := make([]float64, len(terms))
	for i := 1; i < len(d.px)-1; i++ {
		f := evaluate(set(base, d.without(i)))
		for s := range largest {
			hand := noiseOut * math.Hypot(byHand[s][vertexName(d, i, 0)], byHand[s][vertexName(d, i, 1)])
			c := math.Abs(f.v[s] - nominal.v[s])
			if c > hand {
				largest[s] = math.Max(largest[s], math.Sqrt(c*c-hand*hand))
			}
		}
	}
	for s, c := range largest {
		if c > 0 {
			terms[s] = append(terms[s], quantity.Term{Source: byInterpolation, Input: d.uid, U: c * InterpolationShare})
		}
	}
}

// setting is what the budget of a film needs besides the marks.
type setting struct {
	film, object  string // for the identity of inputs
	centre        r2.Vec // foot of the central beam, SR pixels
	sourceToPlane float64
	shift         float64 // half width, mm, along the patient against the lateral film
	foot          float64 // half width, mm in the patient, of either film's central beam along it
	partner       string  // the lateral film's name in the identity of inputs
	edges         bool    // count the floor for a wrong edge
	// off is how far the header puts the beam off the view's true direction,
	// in all and about the patient's long and cross axis, degrees.
	off, offLong, offCross float64
}

func settingOf(r *FilmReading, object string, opt Options) setting {
	g := r.Film.Geometry
	s := setting{
		film: r.Film.Ref.Instance + "/" + r.Film.Ref.Span(), object: object,
		centre:        r2.Vec{X: float64(g.Columns) / 2, Y: float64(g.Rows) / 2},
		sourceToPlane: r.Scale.SourceToPlane,
		edges:         !opt.MarkingSD.Known,
	}
	if total, long, cross, ok := g.OffView(r.View); ok {
		s.off, s.offLong, s.offCross = total, long, cross
	}
	if !(s.sourceToPlane > 0) {
		s.sourceToPlane = scale.SourceToPlanePrior
	}
	return s
}

// turnEffects foreshorten the whole of a film without a scale: a view turned about the patient's
// long axis shows lengths across it shorter by the cosine, one turned about the
// cross axis those along it. stretch makes the plane's columns and rows longer
// by the given parts.
func turnEffects[T any](s setting, cranial r2.Vec, stretch func(t T, columns, rows float64) T) []effect[T] {
	if cranial == (r2.Vec{}) {
		return nil
	}
	short := func(off float64) float64 {
		return quantity.Rectangular(1 - math.Cos(quantity.Radians(off+RotationHalf)))
	}
	along, across := short(s.offCross), short(s.offLong)
	columns, rows := across, along
	if cranial.X != 0 {
		columns, rows = along, across
	}
	return []effect[T]{
		{[]share{{byRotation, s.film + "/columns", columns}}, 1e-3, func(t T, x float64) T { return stretch(t, x, 0) }},
		{[]share{{byRotation, s.film + "/rows", rows}}, 1e-3, func(t T, x float64) T { return stretch(t, 0, x) }},
	}
}

// fromTip is each vertex's distance from the tip along the shaft, plane units.
func fromTip(d drawn, p plane) []float64 {
	out := make([]float64, len(d.px))
	for i := len(d.px) - 2; i >= 0; i-- {
		out[i] = out[i+1] + r2.Norm(r2.Sub(p.at(d.px[i]), p.at(d.px[i+1])))
	}
	return out
}

// beamEffects are, on a film without a scale, what a device's unknown distance
// from the landmarks' plane does: it is magnified about the foot of the central
// beam. move displaces device and contacts alike.
func beamEffects[T any](s setting, move func(T, func(px r2.Vec) r2.Vec) T) []effect[T] {
	return []effect[T]{{
		shares: []share{{byOutOfPlane, s.film + "/" + s.object + "/off", quantity.Rectangular(OffMidlineHalf)}},
		step:   1,
		apply: func(t T, x float64) T {
			return move(t, func(px r2.Vec) r2.Vec {
				return r2.Add(s.centre, r2.Scale(1+x/s.sourceToPlane, r2.Sub(px, s.centre)))
			})
		},
	}}
}

// edgeEffect shifts a whole line along a direction on the plane.
func edgeEffect[T any](s setting, p plane, d drawn, direction r2.Vec, set func(T, drawn) T) effect[T] {
	floor := EdgeFloor
	if !p.scaled {
		floor = EdgeFloorPixels
	}
	v := p.pixel(direction)
	return effect[T]{
		shares: []share{{byEdge, d.uid, floor}},
		step:   0.02,
		apply: func(t T, x float64) T {
			return set(t, d.shifted(func(_ int, q r2.Vec) r2.Vec { return r2.Add(q, r2.Scale(x, v)) }))
		},
	}
}

// markingSD is the standard deviation of a mark's points, in pixels.
func markingSD(own imaging.Number, standard float64, opt Options) float64 {
	switch {
	case opt.MarkingSD.Known:
		return opt.MarkingSD.Value
	case own.Known:
		return own.Value
	}
	return standard
}
