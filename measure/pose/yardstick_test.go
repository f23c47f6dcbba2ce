package pose

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// motion is a turn about the centroid of what is moved, and its displacement.
type motion struct {
	turn     mat.Dense
	from, to r3.Vec
}

// rigid finds the motion that carries a onto b with the least sum of squares
// (Kabsch, Acta Cryst 1976;A32:922-923).
func rigid(a, b []r3.Vec) (m motion) {
	n := 1 / float64(len(a))
	for i := range a {
		m.from, m.to = r3.Add(m.from, r3.Scale(n, a[i])), r3.Add(m.to, r3.Scale(n, b[i]))
	}
	h := mat.NewDense(3, 3, nil)
	for i := range a {
		p, q := three(r3.Sub(a[i], m.from)), three(r3.Sub(b[i], m.to))
		for r := range 3 {
			for c := range 3 {
				h.Set(r, c, h.At(r, c)+p[r]*q[c])
			}
		}
	}
	var svd mat.SVD
	svd.Factorize(h, mat.SVDFull)
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	if m.turn.Mul(&v, u.T()); mat.Det(&m.turn) < 0 {
		v.SetCol(2, []float64{-v.At(0, 2), -v.At(1, 2), -v.At(2, 2)})
		m.turn.Mul(&v, u.T())
	}
	return m
}

func (m motion) apply(p r3.Vec) r3.Vec {
	q := three(r3.Sub(p, m.from))
	var v mat.VecDense
	v.MulVec(&m.turn, mat.NewVecDense(3, q[:]))
	return r3.Add(m.to, r3.Vec{X: v.AtVec(0), Y: v.AtVec(1), Z: v.AtVec(2)})
}

// angle of a rotation matrix, degrees.
func angle(m mat.Matrix) float64 {
	return math.Acos(math.Max(-1, math.Min(1, (mat.Trace(m)-1)/2))) / degree
}

// between is the turn from one camera's axes to another's.
func between(a, b carm.Camera) *mat.Dense {
	axes := func(c carm.Camera) *mat.Dense {
		m := mat.NewDense(3, 3, nil)
		p := c.Pinhole()
		for i, v := range [3]r3.Vec{p.Right, p.Down, p.Beam} {
			row := three(v)
			m.SetRow(i, row[:])
		}
		return m
	}
	var out mat.Dense
	out.Mul(axes(b), axes(a).T())
	return &out
}

// Beads in a wand that is moved and turned by known amounts: 0.066 mm and 0.125
// degrees RMS, bead locations steady to 0.016 mm, in J Foot Ankle Res
// 2012;5(Suppl 1):O36 (two C-arms, beads measured to 0.007 mm). Here the views
// are first found, from loose priors, by a frame of 24 such beads, then held; the
// marks' 0.09 px (at 0.18 mm a pixel) make the beads as steady as theirs.
// Distortion of the image is in their figures and not in ours.
func TestYardstickBeads(t *testing.T) {
	const markSD, beadSD = 0.09, 0.007
	n := studied(60)
	var mu sync.Mutex
	var move, turn tally
	many(n, func(_ int, rng *rand.Rand) {
		in := Input{Views: []View{loose("one", t, 0, true), loose("other", t, 60, false)}}
		in.Views[1].Shift = [3]float64{20, 20, 20}
		s := scene{}
		for _, v := range in.Views {
			s.settings = append(s.settings, drawn(rng, v))
		}
		gauss := func(sd float64) r3.Vec {
			return r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()}
		}
		for p := range 24 {
			// Round a cylinder, at uneven heights.
			a := 2 * math.Pi * float64(p*7%24) / 24
			known := r3.Vec{X: 45 * math.Cos(a), Y: 45 * math.Sin(a), Z: 5*float64(p) - 60}
			in.Points = append(in.Points, "bead")
			s.points = append(s.points, r3.Add(known, gauss(beadSD)))
			for axis, mm := range three(known) {
				in.Relations = append(in.Relations, Relation{Terms: []Term{{1, Coordinate(p, axis)}}, Equals: mm, SD: beadSD})
			}
		}
		film(t, rng, &in, s, markSD)
		// Beads measured in the frame's own coordinates say where the first view
		// stands too.
		in.Views[0].Shift = [3]float64{20, 20, 20}
		f, err := Adjust(in)
		if err != nil {
			t.Error(err)
			return
		}
		held := Input{}
		for i, c := range f.Cameras {
			held.Views = append(held.Views, View{Name: in.Views[i].Name, Nominal: c})
		}
		// The wand: four beads, before and after.
		wand := []r3.Vec{{X: -25, Y: 3, Z: 2}, {X: 28, Y: -2}, {X: 4, Y: 18, Z: 6}, {X: -3, Y: -4, Z: 27}}
		place := func(at r3.Vec, degrees float64) (out []r3.Vec) {
			r := r3.NewRotation(degrees*degree, r3.Vec{X: 0.3, Y: 0.5, Z: 0.8})
			for _, p := range wand {
				out = append(out, r3.Add(at, r.Rotate(p)))
			}
			return out
		}
		see := func(points []r3.Vec) []r3.Vec {
			w := held
			w.Points = make([]string, len(points))
			for v := range in.Views {
				for p, at := range points {
					q := s.picture(t, in.Views[v], v, at)
					w.Sightings = append(w.Sightings, Sighting{View: v, Point: p, SD: markSD,
						X: q.X + markSD*rng.NormFloat64(), Y: q.Y + markSD*rng.NormFloat64()})
				}
			}
			g, err := Adjust(w)
			if err != nil {
				t.Error(err)
				return points
			}
			return g.Points
		}
		by := r3.Vec{X: 12, Y: -9, Z: 7}
		moved := rigid(see(place(r3.Vec{}, 0)), see(place(by, 0)))
		turned := rigid(see(place(r3.Vec{}, 0)), see(place(r3.Vec{}, 10)))
		mu.Lock()
		defer mu.Unlock()
		move.add(r3.Norm(r3.Sub(moved.to, moved.from))-r3.Norm(by), 1)
		turn.add(angle(&turned.turn)-10, 1)
	})
	t.Logf("beads: translation %.3f mm RMS (published 0.066), rotation %.3f degrees RMS (published 0.125), %d cases", move.rms(), turn.rms(), n)
	if move.rms() > 0.066 || turn.rms() > 0.125 {
		t.Error("worse than published")
	}
}

// Geometry and positions from two views alone, Med Phys 1995;22(8):1219-1227:
// mean absolute errors of 0.5 % in magnification, 0.16 mm in the points' relative
// positions, 0.6 and 0.3 degrees in the angles of turn and shift at 0.035 mm
// of error in the image, and 3.0 %, 1.5 mm, 5 and 3 degrees at 0.7 mm (2 px).
// Here: pixels of 0.35 mm, source to detector known, the rest free by 5 degrees,
// 10 % and 20 mm; 12 points in a cube of 100 mm, as branches of a heart's arteries
// are, and the distance of two of them. How many and how wide theirs were the
// abstract does not say.
func TestYardstickTwoViews(t *testing.T) {
	n := studied(200)
	for _, c := range []struct {
		px                  float64
		scale, apart, angle float64
		limit               bool // else reported alone: theirs is for errors "up to" this
	}{{0.1, 0.005, 0.16, 0.6, true}, {2, 0.03, 1.5, 5, false}} {
		var mu sync.Mutex
		var scale, apart, turn float64
		count := 0
		many(n, func(_ int, rng *rand.Rand) {
			in := Input{ScaleLimit: 1}
			s := scene{}
			for i, primary := range []float64{0, 90} {
				camera, err := carm.FromGeometry(imaging.Geometry{
					Columns: 1000, Rows: 1000, ImagerSpacing: imaging.Spacing{Row: 0.35, Column: 0.35, Known: true},
					SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(700),
					PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(0),
				})
				if err != nil {
					t.Error(err)
					return
				}
				v := View{Nominal: camera, Turn: [3]float64{5, 5, 5}, Isocentre: 0.1}
				if i == 1 {
					v.Shift = [3]float64{20, 20, 20}
				}
				in.Views = append(in.Views, v)
				s.settings = append(s.settings, drawn(rng, v))
			}
			for range 12 {
				in.Points = append(in.Points, "branch")
				s.points = append(s.points, r3.Vec{X: 100*rng.Float64() - 50, Y: 100*rng.Float64() - 50, Z: 100*rng.Float64() - 50})
			}
			s.points[0], s.points[1] = r3.Vec{X: 20, Y: 15, Z: 25}, r3.Vec{X: -20, Y: -15, Z: -25}
			film(t, rng, &in, s, c.px)
			in.Lengths = []Length{{A: 0, B: 1, MM: r3.Norm(r3.Sub(s.points[0], s.points[1])), SD: 0.01}}
			f, err := Adjust(in)
			if err != nil {
				t.Error(err)
				return
			}
			mu.Lock()
			defer mu.Unlock()
			count++
			for v := range in.Views {
				sum := 0.0
				for p := range s.points {
					sum += math.Abs(logScale(in.Views[v], f.Settings[v], f.Points[p]) - s.logScale(in.Views[v], v, p))
				}
				scale += sum / float64(2*len(s.points))
			}
			onto := rigid(f.Points, s.points)
			for p := range s.points {
				apart += r3.Norm(r3.Sub(onto.apply(f.Points[p]), s.points[p])) / float64(len(s.points))
			}
			var truth [2]carm.Camera
			for v := range truth {
				b := bodyOf(in.Views[v].Nominal)
				st := b.at(&s.settings[v])
				if truth[v], err = st.camera(); err != nil {
					t.Error(err)
				}
			}
			var off mat.Dense
			off.Mul(between(f.Cameras[0], f.Cameras[1]), between(truth[0], truth[1]).T())
			turn += angle(&off)
		})
		k := float64(count)
		t.Logf("two views, marks %.2f mm: magnification %.2f %% (published %.1f), relative positions %.2f mm (%.2f), angle between the views %.2f degrees (%.1f), %d cases",
			c.px*0.35, 100*scale/k, 100*c.scale, apart/k, c.apart, turn/k, c.angle, count)
		if !c.limit {
			continue
		}
		if scale/k > c.scale || apart/k > c.apart || turn/k > c.angle {
			t.Error("worse than published")
		}
	}
}

// A known length under 20 degrees of foreshortening, in Catheter Cardiovasc
// Interv 2001;52(3):334-341, measured others to under 7 %. Here a needle of known
// length lies 20 degrees out of the lateral film's plane and the other needle's
// length is measured from both views, with and without geometry in the header.
func TestYardstickForeshortening(t *testing.T) {
	n := studied(200)
	for _, known := range []bool{false, true} {
		var mu sync.Mutex
		var long tally
		var all []float64
		many(n, func(_ int, rng *rand.Rand) {
			in := Input{
				Views:  []View{loose("frontal", t, 0, true), loose("lateral", t, 90, false)},
				Points: []string{"tip 1", "hub 1", "tip 2", "hub 2"},
			}
			if known {
				for i := range in.Views {
					v := &in.Views[i]
					v.Turn, v.Detector, v.Isocentre = [3]float64{1, 1, 1}, 0.01, 0.01
				}
			}
			sin, cos := math.Sincos(20 * degree)
			a, b := r3.Vec{X: 22, Y: -5, Z: -12}, r3.Vec{X: -24, Y: -2, Z: -10}
			s := scene{points: []r3.Vec{
				a, r3.Add(a, r3.Vec{X: 90 * sin, Y: 90 * cos * 0.85, Z: 90 * cos * math.Sqrt(1-0.85*0.85)}),
				b, r3.Add(b, r3.Vec{X: -11, Y: 68, Z: 47}),
			}}
			for _, v := range in.Views {
				s.settings = append(s.settings, drawn(rng, v))
			}
			film(t, rng, &in, s, 0.5)
			in.Lengths = []Length{{A: 0, B: 1, MM: 90, SD: 0.2}}
			f, err := Adjust(in)
			if err != nil {
				t.Error(err)
				return
			}
			of := func(p []r3.Vec) float64 { return r3.Norm(r3.Sub(p[2], p[3])) }
			e := of(f.Points)/of(s.points) - 1
			mu.Lock()
			defer mu.Unlock()
			long.add(e, 1)
			all = append(all, math.Abs(e))
		})
		slices.Sort(all)
		within := all[len(all)*95/100]
		t.Logf("a known length foreshortened by 20 degrees, geometry in the header %-5v: another length %.2f %% RMS, 95 of 100 within %.1f %%, all within %.1f %% (published: under 7 %%), %d cases",
			known, 100*long.rms(), 100*within, 100*all[len(all)-1], n)
		if within > 0.07 {
			t.Error("worse than published")
		}
	}
}
