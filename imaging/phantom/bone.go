package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// anatomy is the bony pelvis as a field of bone fraction: 1 is cortical bone,
// 0 soft tissue, negative gas. Everything but the gas is alike on both sides.
type anatomy struct {
	mid       *midline
	bodyHalf  curveTable // half width of the vertebral bodies by s
	massHalf  curveTable // half width of the whole bone by s, below the joints
	canalHalf curveTable // half width of the sacral canal by s
	ilium     outline
	grain     *grain
}

func newAnatomy(m *midline) *anatomy {
	return &anatomy{
		mid:      m,
		bodyHalf: tabulated([]float64{cranialEnd, 0, 30, 53, 71, 87, 108, 140}, []float64{26, 25, 19, 15, 13.5, 12.5, 9, 3}),
		massHalf: tabulated([]float64{cranialEnd, 40, 48, 54, 62, 72, 82, 92, 99, 105, 110, 116, 122, 132, 140},
			[]float64{75, 74, 50, 40.5, 36, 33.5, 31, 29, 25, 16, 10, 8.5, 6, 5, 3}),
		canalHalf: tabulated([]float64{cranialEnd, 0, 30, 66, 90, 140}, []float64{15, 14, 12, 7, 5, 4}),
		ilium:     newOutline(iliumCorners),
		grain:     newGrain(23),
	}
}

// column is what the field needs of a place in the sagittal plane, whatever x.
type column struct {
	y, z                    float64
	s, n, thick, bend       float64
	body, mass, canal, high float64
	lamina                  float64
	roof, floor             float64 // of the canal, mm dorsal of the margin
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
	c.canal, c.high = a.canalHalf.Predict(c.s), a.mid.canal.Predict(c.s)
	c.lamina = a.mid.lamina.Predict(c.s)
	c.roof = c.thick - c.lamina
	c.floor = c.roof - 2*c.high
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
	waist := 1.2 * max(0, 1-sq(u/13)) // mm by which the body is waisted
	d := min(13.5-math.Abs(u), -ring*17-waist)
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
