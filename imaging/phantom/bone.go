package phantom

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/spatial/r2"
)

// anatomy is the bony pelvis as a field of bone fraction: 1 is cortical bone,
// 0 soft tissue, negative gas. Everything but the gas is alike on both sides.
type anatomy struct {
	mid       *midline
	bodyHalf  interp.FritschButland // half width of the vertebral bodies by s
	massHalf  interp.FritschButland // half width of the whole bone by s, below the joints
	canalHalf interp.FritschButland
	canalHigh interp.FritschButland
	lamina    interp.FritschButland
	ilium     outline
	grain     *grain
}

func newAnatomy(m *midline) *anatomy {
	a := &anatomy{mid: m, ilium: newOutline(iliumCorners), grain: newGrain(23)}
	fit := func(p *interp.FritschButland, xs, ys []float64) { _ = p.Fit(xs, ys) }
	fit(&a.bodyHalf, []float64{-30, 0, 30, 53, 71, 87, 108, 140}, []float64{26, 25, 19, 15, 13.5, 12.5, 9, 3})
	fit(&a.massHalf, []float64{-30, 40, 48, 54, 62, 72, 82, 92, 99, 105, 110, 116, 122, 132, 140},
		[]float64{75, 74, 50, 40.5, 36, 33.5, 31, 29, 25, 16, 10, 8.5, 6, 5, 3})
	fit(&a.canalHalf, []float64{-30, 0, 30, 66, 90, 140}, []float64{15, 14, 12, 7, 5, 4})
	fit(&a.canalHigh, []float64{-30, 0, 30, 66, 90, 140}, []float64{7.5, 7, 5.5, 3.2, 2.2, 1.5})
	fit(&a.lamina, []float64{-30, 12, 66, 90, 140}, []float64{6, 5.5, 4, 3, 2})
	return a
}

// column is what the field needs of a place in the sagittal plane, whatever x.
type column struct {
	y, z                    float64
	s, n, thick, bend       float64
	body, mass, canal, high float64
	lamina                  float64
	joint                   float64 // |x| of the sacroiliac joint's middle
	ilium                   float64 // mm inside the ilium's outline
	iliumThick              float64
	near                    bool // near the sacrum at all
}

func (a *anatomy) column(y, z float64) column {
	c := column{y: y, z: z}
	c.s, c.n = a.mid.locate(r2.Vec{X: z, Y: y})
	i, _ := a.mid.index(c.s)
	c.bend, c.thick = a.mid.bend[i], a.mid.thick[i]
	c.near = c.n > -4 && c.n < c.thick+14 && c.s > -28 && c.s < coccyxEnd+3
	c.body, c.mass = a.bodyHalf.Predict(c.s), a.massHalf.Predict(c.s)
	c.canal, c.high = a.canalHalf.Predict(c.s), a.canalHigh.Predict(c.s)
	c.lamina = a.lamina.Predict(c.s)
	c.joint = jointAt(y, z)
	c.ilium = a.ilium.inside(r2.Vec{X: y, Y: z})
	c.iliumThick = 6.5 +
		8*math.Exp(-(sq(y-2)+sq(z-30))/(2*sq(20))) + // behind the joint
		7*math.Exp(-(sq(y+28)+sq(z-8))/(2*sq(16))) + // bar over the notch
		24*math.Exp(-(sq(y+80)+sq(z+62))/(2*sq(20))) // about the hip joint
	return c
}

// jointAt is the distance from the midline in mm of the sacroiliac joint, and
// of the ilium's inner face beyond it, at y, z.
func jointAt(y, z float64) float64 {
	x := 40.0
	if z > 8 {
		x += 0.2 * (z - 8)
	} else {
		x += 0.06 * (z - 8)
	}
	// Its lower part runs nearly front to back, so that a frontal film looks
	// along it; higher up it turns outwards.
	turn := 0.14 + 0.3*step(z-34, 36)
	if d := -(y + 4); d > 0 {
		out := max(0, d-12)
		x += turn*d + (0.56-turn)*out*out/(out+22)
	} else {
		x += 0.16 * d
	}
	if y < -45 {
		x += 0.005 * sq(y+45)
	}
	return x
}

// iliumCorners in the sagittal plane (X: y, Y: z), a smooth outline: from the
// lower end of the joint over the spines behind to the crest, down in front, and
// back over ischial spine and greater sciatic notch.
var iliumCorners = []r2.Vec{
	{X: 2, Y: 8}, {X: 9, Y: 11}, {X: 17, Y: 17}, {X: 25, Y: 26}, {X: 28, Y: 38}, {X: 25, Y: 56},
	{X: 14, Y: 82}, {X: -12, Y: 108}, {X: -60, Y: 122}, {X: -118, Y: 100}, {X: -124, Y: 20}, {X: -118, Y: -60}, {X: -100, Y: -112},
	{X: -52, Y: -112}, {X: -48, Y: -82}, {X: -46, Y: -66}, {X: -41, Y: -57}, {X: -34, Y: -52}, {X: -37, Y: -44},
	{X: -42, Y: -34}, {X: -43.5, Y: -23}, {X: -41, Y: -12}, {X: -34, Y: -3}, {X: -24, Y: 1.5}, {X: -13, Y: 3}, {X: -5, Y: 4.5},
}

// notchTop is the deepest point of the greater sciatic notch, as placed in
// iliumCorners: y, z in mm. Both notches lie there, at the ilium's inner face.
var notchTop = r2.Vec{X: -41, Y: -12}

// jointEnd is the lower end of the sacroiliac joint: y, z in mm.
var jointEnd = r2.Vec{X: -5, Y: 5}

// laminaTop is where the dorsal surface of S1 begins, in mm of s.
const laminaTop = 12.0

// bodyDepth is how deep the vertebral body is at s, from the ventral margin to
// the canal, in mm.
func bodyDepth(s float64, m *midline) float64 {
	a := newAnatomy(m)
	return m.thickAt.Predict(s) - a.lamina.Predict(s) - 2*a.canalHigh.Predict(s)
}

func sq(v float64) float64 { return v * v }

// both is the smaller of two depths, rounded over k mm where they meet.
func both(a, b, k float64) float64 {
	h := max(0, k-math.Abs(a-b)) / k
	return min(a, b) - h*h*k/4
}

// step rises smoothly from 0 at -w/2 to 1 at +w/2.
func step(d, w float64) float64 {
	t := d/w + 0.5
	if t <= 0 {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return t * t * (3 - 2*t)
}

// shell is bone with a cortex: d mm inside its surface, cortex mm thick,
// spongy fraction within.
func shell(d, cortex, spongy float64) float64 {
	if d <= -0.4 {
		return 0
	}
	return step(d, 0.8) * (spongy + (0.92-spongy)*(1-step(d-cortex, 1.0)))
}

// fraction of bone at x mm to the patient's left in the column.
func (a *anatomy) fraction(c *column, x float64) float64 {
	ax := math.Abs(x)
	f := 0.0
	if c.near {
		f = a.sacral(c, x, ax)
	}
	if c.ilium > -1 && ax > c.joint-1 && ax < c.joint+2+1.3*c.iliumThick+2 {
		mid := c.joint + 1.4 + c.iliumThick/2*1.1
		d := min((c.iliumThick/2*1.1-math.Abs(ax-mid))*0.91, c.ilium)
		g := a.grain.at(x, c.y, c.z)
		cortex := 1.1
		if c.ilium < 6 { // the notch's rim is thick
			cortex = 1.6
		}
		f = max(f, shell(d, cortex, 0.13*(1+0.55*g)))
	}
	f = max(f, a.femoral(c, x, ax))
	f = max(f, a.lumbar(c, x, ax))
	return f
}

// sacral is the sacrum and coccyx.
func (a *anatomy) sacral(c *column, x, ax float64) float64 {
	if ax > 78 {
		return 0
	}
	stretch := 1 + c.bend*c.n
	// Ventral surface: flat across at the foramina, falling back at the wings
	// of S1 and S2.
	front := 0.0
	if wing := ax - 24; wing > 0 {
		front = wing * (0.06 + 0.22*math.Exp(-sq(c.s/26))) * min(1, wing/12)
	}
	// Dorsal surface: laminae to 27 mm, then falling off to the sides.
	back := c.thick
	if c.s > sacrumEnd-2 {
		back = max(2, c.thick)
	}
	if wing := ax - 27; wing > 0 {
		back -= wing * 0.42 * min(1, wing/8)
	}
	// No bone is as smooth as its drawing: sides and back of the wings are uneven.
	rough := 1.1 * a.grain.octave(x*0.055+3, c.y*0.055, c.z*0.055+11)
	half := min(c.mass+rough, c.joint-1.4)
	if ax > 27 {
		back += rough
	}
	top := 11 * step(c.n-32, 7) // the laminae of S1 begin lower than its body
	if ax > 24 {
		top = max(top, (ax-24)*0.22)
	}
	if c.n > 26 && c.n < 44 && ax > 13 && ax < 25 {
		top = -7 // superior articular processes
	}
	d := min(c.n-front, back-c.n)
	d = both(d, (half-ax)*0.88, 2.5)
	d = both(d, (c.s-top)*stretch, 2.5)
	d = both(d, (coccyxEnd-c.s)*stretch, 2.5)
	// The joint of sacrum and coccyx, and the coccygeal pieces.
	for _, gap := range []float64{sacrumEnd, 117, 124} {
		d = both(d, math.Abs(c.s-gap)*stretch-0.8, 2.5)
	}

	// Median crest: spinous tubercles on the laminae of S1 to S4.
	for i, at := range []float64{21, 43, 61, 78} {
		high := []float64{8, 6.5, 5, 3.5}[i] * (1 + 0.25*rough)
		e := math.Sqrt(sq((x-0.5*rough)/2.8)+sq((c.s-at)*stretch/7.5)+sq((c.n-c.thick)/high)) - 1
		d = max(d, -e*2.8)
	}
	if c.s > 18 && c.s < 84 { // the ridge between them
		d = max(d, 1.5-math.Hypot(x-0.4*rough, (c.n-c.thick)*0.6))
	}
	// Intermediate and lateral crests: low bumps beside the foramina.
	for i, at := range []float64{25, 45, 60, 71} {
		lat := []float64{15, 14, 13, 12}[i]
		e := math.Sqrt(sq((ax-lat)/3)+sq((c.s-at)*stretch/5)+sq((c.n-c.thick)/2.4)) - 1
		d = max(d, -e*2.4)
		out := []float64{34, 32, 29, 26}[i]
		e = math.Sqrt(sq((ax-out)/3.5)+sq((c.s-at-3)*stretch/6)+sq((c.n-back)/3)) - 1
		d = max(d, -e*3)
	}
	if d < -0.5 {
		return 0
	}

	// Canal and foramina: mm outside the nearest hole.
	roof := c.thick - c.lamina
	floor := roof - 2*c.high
	middle := (roof + floor) / 2
	hole, open := math.Inf(1), 0.0
	canal := math.Inf(1)
	if c.s < 102 { // closing towards the hiatus
		u, w := ax/c.canal, math.Abs(c.n-middle)/c.high
		canal = (math.Sqrt(u*u+w*w)-1)*min(c.canal, c.high) + 0.3*max(0, c.s-86)
	}
	for _, f := range foramina {
		if math.Abs(c.s-f.dorsal.s) > 26 {
			continue
		}
		hole = min(hole, f.outside(x, c.s, c.n, c.thick, c.bend))
		// The root's way from the canal to the foramen has no cortex of its own.
		if o := f.section(middle / c.thick); ax < o.x {
			e := math.Sqrt(sq((c.n-middle)/3.4) + sq((c.s-o.s)*stretch/4.6))
			open = max(open, 0.8*step(1-e, 0.7))
		}
	}
	if min(hole, canal) < -0.5 {
		return 0
	}

	g := a.grain.at(x, c.y, c.z)
	spongy := 0.13
	if ax < c.body && c.n < floor {
		spongy = 0.19
	}
	if c.n > roof {
		spongy = 0.3
	}
	// Fused discs: dense plates across the bodies, S1/S2 with what is left of
	// a disc between.
	if c.n < floor+1 && ax < c.body+3 {
		for i, at := range fusionAt {
			off := math.Abs(c.s-at) * stretch
			if off > 6 {
				continue
			}
			part := step(c.body+1-ax, 4)
			rest := []float64{1.9, 0.9, 0.4, 0.2}[i]
			dense := []float64{0.42, 0.36, 0.3, 0.22}[i]
			spongy += part * dense * math.Exp(-sq((off-rest)/0.9))
			spongy -= part * 0.5 * spongy * math.Exp(-sq(off/(rest+0.1))) * step(rest-0.5, 1)
		}
	}
	spongy *= 1 + 0.9*g
	cortex := 1.3 + 0.3*g
	switch {
	case c.s > sacrumEnd:
		cortex = 0.7
	case canal < d && canal < hole:
		cortex = 0.7
	case hole < d:
		cortex = 1.1 + 0.9*step(c.n-c.thick+3, 3) // dorsal rims are raised and dense
	}
	return shell(min(d, min(hole, canal)), cortex, spongy) * (1 - open)
}

// femoral heads and the roof over them, at the lower front corner of the field.
func (a *anatomy) femoral(c *column, x, ax float64) float64 {
	r := math.Sqrt(sq(ax-92) + sq(c.y+82) + sq(c.z+66))
	if r > 30 {
		return 0
	}
	return shell(23-r, 1.2, 0.2*(1+0.4*a.grain.at(x, c.y, c.z)))
}

// lumbar is the fifth lumbar vertebra, partly in the field.
func (a *anatomy) lumbar(c *column, x, ax float64) float64 {
	if c.z < 46 || ax > 50 {
		return 0
	}
	const lean = -29 * math.Pi / 180
	// Body coordinates: u towards the head, w dorsal, from the body's middle.
	dz, dy := c.z-73.5, c.y+49.5
	u := dz*math.Cos(lean) + dy*math.Sin(lean)
	w := -dz*math.Sin(lean) + dy*math.Cos(lean)
	ring := math.Sqrt(sq(x/25)+sq(w/17.5)) - 1
	waist := 1 + 0.07*max(0, 1-sq(u/13)) // the body is waisted
	d := min(13.5-math.Abs(u)+0.012*sq(ax)*0.2, -(ring*waist+0.04*(waist-1))*17)
	g := a.grain.at(x, c.y, c.z)
	cortex := 0.9
	if math.Abs(u) > 10 {
		cortex = 1.5
	}
	f := shell(d, cortex, 0.16*(1+0.5*g))
	lump := func(x0, u0, w0, rx, ru, rw float64) float64 {
		e := math.Sqrt(sq((ax-x0)/rx)+sq((u-u0)/ru)+sq((w-w0)/rw)) - 1
		return -e * min(rx, min(ru, rw))
	}
	d = lump(15, 4, 21, 5, 7, 9)           // pedicles
	d = max(d, lump(19, -4, 33, 6, 12, 7)) // articular processes
	d = max(d, lump(8, -3, 36, 11, 8, 4))  // laminae
	d = max(d, lump(0, -6, 50, 3, 8, 14))  // spinous process
	d = max(d, lump(34, 6, 20, 16, 5, 4))  // transverse processes
	return max(f, shell(d, 1.1, 0.22*(1+0.4*g)))
}

// grain is repeatable noise that makes spongy bone look like it: -1 to 1,
// features of about 1.5 to 10 mm.
type grain struct{ lattice []float32 }

const grainSide = 64

func newGrain(seed uint64) *grain {
	r := rand.New(rand.NewPCG(seed, 1))
	g := &grain{lattice: make([]float32, grainSide*grainSide*grainSide)}
	for i := range g.lattice {
		g.lattice[i] = float32(r.Float64()*2 - 1)
	}
	return g
}

func (g *grain) at(x, y, z float64) float64 {
	return 0.3*g.octave(x*0.1+7, y*0.1, z*0.1) + 0.55*g.octave(x*0.28, y*0.28, z*0.28) + 0.6*g.octave(x*0.75+17, y*0.75+5, z*0.75+31)
}

func (g *grain) octave(x, y, z float64) float64 {
	xf, yf, zf := math.Floor(x), math.Floor(y), math.Floor(z)
	x, y, z = x-xf, y-yf, z-zf
	const mask = grainSide - 1
	x0, y0, z0 := int(xf)&mask, int(yf)&mask, int(zf)&mask
	x1, y1, z1 := (x0+1)&mask, (y0+1)&mask, (z0+1)&mask
	v := func(a, b, c int) float64 { return float64(g.lattice[(c*grainSide+b)*grainSide+a]) }
	lerp := func(a, b, t float64) float64 { return a + t*(b-a) }
	return lerp(
		lerp(lerp(v(x0, y0, z0), v(x1, y0, z0), x), lerp(v(x0, y1, z0), v(x1, y1, z0), x), y),
		lerp(lerp(v(x0, y0, z1), v(x1, y0, z1), x), lerp(v(x0, y1, z1), v(x1, y1, z1), x), y), z)
}
