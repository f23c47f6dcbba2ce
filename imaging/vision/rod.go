package vision

import "math"

// Across the shaft the model is the shadow of a round rod: its thickness along
// the ray, sqrt(1 - (2t/width)^2) of the middle's, spread by a Gaussian blur.
// t is the distance from the axis, width the rod's diameter, blur the Gaussian's
// standard deviation, all in pixels; a pixel's own extent counts as blur.

// rodNodes is the number of nodes of the Gauss-Chebyshev rule of the second
// kind (Abramowitz and Stegun 25.4.40), whose weight is the rod's thickness.
const rodNodes = 24

// profileStep between the tabulated distances, pixels.
const profileStep = 0.05

// profile of a shaft across, tabulated from t = 0: value and derivatives. It is
// even in t. Its unit is the thickness of the rod's middle.
type profile struct {
	width, blur                 float64
	value, byT, byWidth, byBlur []float64
}

// newProfile out to reach pixels from the axis.
func newProfile(width, blur, reach float64) *profile {
	n := int(reach/profileStep) + 3
	p := &profile{width: width, blur: blur}
	table := make([]float64, 4*n)
	p.value, p.byT, p.byWidth, p.byBlur = table[:n], table[n:2*n], table[2*n:3*n], table[3*n:]
	half := width / 2
	for k := 1; k <= rodNodes; k++ {
		a := math.Pi * float64(k) / (rodNodes + 1)
		x, weight := math.Cos(a), math.Pi/(rodNodes+1)*math.Sin(a)*math.Sin(a)
		for i := range n {
			z := float64(i)*profileStep - half*x
			if math.Abs(z) > 6*blur {
				continue
			}
			g := weight * math.Exp(-z*z/(2*blur*blur)) / (math.Sqrt(2*math.Pi) * blur)
			slope := -z / (blur * blur) * g
			p.value[i] += half * g
			p.byT[i] += half * slope
			p.byWidth[i] += g/2 - half*slope*x/2
			p.byBlur[i] += half * g * (z*z/(blur*blur) - 1) / blur
		}
	}
	return p
}

// at gives value and derivatives at t.
func (p *profile) at(t float64) (value, byT, byWidth, byBlur float64) {
	sign := 1.0
	if t < 0 {
		t, sign = -t, -1
	}
	f := t / profileStep
	i := int(f)
	if i >= len(p.value)-1 {
		return 0, 0, 0, 0
	}
	f -= float64(i)
	mix := func(v []float64) float64 { return v[i] + f*(v[i+1]-v[i]) }
	return mix(p.value), sign * mix(p.byT), mix(p.byWidth), mix(p.byBlur)
}

// point is how a shaft ends. Its farthest metal lies at s = 0, the shaft at
// s < 0.
type point struct {
	kind   pointKind
	length float64 // of the ground part along the axis, pixels
	// turn is the cosine between the direction of the farthest metal off the
	// axis and the direction of +t: 1, the bevel is seen from the side and its
	// edge lies at +t; 0, it faces the beam or the detector.
	turn float64
}

type pointKind string

const (
	blunt pointKind = "blunt"
	bevel pointKind = "bevel" // ground on one plane
	cone  pointKind = "cone"
)

// thickness of metal along the ray at s, t, of a rod of this width, in units of
// its middle's.
func (e point) thickness(s, t, width float64) float64 {
	r := width / 2
	if s > 0 || math.Abs(t) >= r {
		return 0
	}
	if e.length <= 0 || s <= -e.length {
		return math.Sqrt(1 - t*t/(r*r))
	}
	switch e.kind {
	case cone:
		rr := r * -s / e.length
		if math.Abs(t) >= rr {
			return 0
		}
		return math.Sqrt(rr*rr-t*t) / r
	case bevel:
		// Metal where t turn + z sin >= r + 2 r s / length, with z along the ray.
		z := math.Sqrt(r*r - t*t)
		limit := r + 2*r*s/e.length - t*e.turn
		sin := math.Sqrt(math.Max(0, 1-e.turn*e.turn))
		if sin < 1e-6 {
			if limit <= 0 {
				return z / r
			}
			return 0
		}
		low := math.Max(-z, math.Min(z, limit/sin))
		return (z - low) / (2 * r)
	}
	return math.Sqrt(1 - t*t/(r*r))
}

// Steps of a tabulated end along and across the shaft, pixels.
const (
	endStepS = 0.25
	endStepT = 0.5
)

// ending is the blurred shadow of a shaft's end, tabulated about its farthest
// metal.
type ending struct {
	point
	low, side float64 // s of the first row; largest |t|
	rows, n   int
	v         []float64
	full      *profile // the shaft further in
}

// newEnding tabulates an end of a shaft with this profile.
func newEnding(e point, full *profile) *ending {
	reach := 4 * full.blur
	out := &ending{point: e, low: -e.length - reach - 1, side: full.width/2 + reach, full: full}
	out.rows = int((reach+1-out.low)/endStepS) + 2
	out.n = 2*int(out.side/endStepT) + 3
	out.side = float64(out.n-1) / 2 * endStepT
	// Each cell holds the mean over its parts.
	const parts = 4
	v := make([]float64, out.rows*out.n)
	for j := range out.rows {
		for i := range out.n {
			s, t := out.low+float64(j)*endStepS, float64(i)*endStepT-out.side
			if s > endStepS || math.Abs(t) > full.width/2+endStepT {
				continue
			}
			sum := 0.0
			for k := range parts * 2 {
				sum += e.thickness(s+(float64(k%2)-0.5)*endStepS/2, t+((float64(k/2)+0.5)/parts-0.5)*endStepT, full.width)
			}
			v[j*out.n+i] = sum / (parts * 2)
		}
	}
	// The mean over a cell is itself a blur, of a twelfth of its square.
	blurred := func(src []float64, count, step, lines, across int, cell float64) []float64 {
		sigma := math.Sqrt(math.Max(0.01, full.blur*full.blur-cell*cell/12)) / cell
		half := int(4*sigma) + 1
		kernel := make([]float64, half+1)
		sum := 0.0
		for k := range kernel {
			kernel[k] = math.Exp(-float64(k*k) / (2 * sigma * sigma))
			sum += kernel[k]
			if k > 0 {
				sum += kernel[k]
			}
		}
		dst := make([]float64, len(src))
		for line := range lines {
			base := line * across
			for i := range count {
				x := src[base+i*step]
				if x == 0 {
					continue
				}
				x /= sum
				for k := max(0, i-half); k <= min(count-1, i+half); k++ {
					dst[base+k*step] += x * kernel[max(k-i, i-k)]
				}
			}
			// What lies before the first row is shaft as well.
			if step != 1 {
				x := src[base] / sum
				for i := range min(count, half) {
					for k := i + 1; k <= half; k++ {
						dst[base+i*step] += x * kernel[k]
					}
				}
			}
		}
		return dst
	}
	v = blurred(v, out.n, 1, out.rows, out.n, endStepT)
	out.v = blurred(v, out.rows, out.n, out.n, 1, endStepS)
	return out
}

// at is the shadow at s along and t across.
func (e *ending) at(s, t float64) float64 {
	if s < e.low {
		v, _, _, _ := e.full.at(t)
		return v
	}
	y, x := (s-e.low)/endStepS, (t+e.side)/endStepT
	j, i := int(y), int(x)
	if x < 0 || i >= e.n-1 || j >= e.rows-1 {
		return 0
	}
	y, x = y-float64(j), x-float64(i)
	a := e.v[j*e.n+i : j*e.n+i+2]
	b := e.v[(j+1)*e.n+i : (j+1)*e.n+i+2]
	return (a[0]*(1-x)+a[1]*x)*(1-y) + (b[0]*(1-x)+b[1]*x)*y
}
