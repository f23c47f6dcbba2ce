package phantom

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// The C-arm: a flat detector behind a round diaphragm.
const (
	filmSide         = 1024  // pixels
	detectorPixel    = 0.225 // mm
	sourceToDetector = 1000.0
	sourceToPatient  = 700.0
	fieldDiameter    = 228.0 // mm at the detector
	bitsStored       = 12
)

// quanta is how many photons a pixel takes up in the middle of the film, on
// average: the automatic exposure keeps it. A held last image of pulsed
// fluoroscopy; common practice, no source.
const quanta = 500.0

// scatterPart is scatter over primary behind the grid, in the middle of the film
// (common practice, no source).
const scatterPart = 0.35

// Blur in pixels, as standard deviations: of focal spot and detector before the
// photons are counted, and of the scintillator's light after.
const (
	focalBlur   = 0.9
	lightSpread = 0.55
)

// The monitor's picture: how soon overexposure is bent over, and how much of the
// slow variations is taken out.
const (
	shoulder = 1.1
	slowHeld = 0.72
)

// The window to show a film with at first: open beam is left out, so that bone
// has most of the greys. Stored values.
const (
	windowCentre = 1850
	windowWidth  = 3600
)

// geometry of a film at these positioner angles, in degrees.
func geometry(primary, secondary float64) imaging.Geometry {
	return geometryOf(primary, secondary, filmSide)
}

// geometryOf a film of side pixels each way: fewer of them are larger.
func geometryOf(primary, secondary float64, side int) imaging.Geometry {
	pixel := pixelOf(side)
	return imaging.Geometry{
		Kind: imaging.KindXA, Columns: side, Rows: side,
		ImagerSpacing:       imaging.Spacing{Row: pixel, Column: pixel, Known: true},
		MagnificationFactor: imaging.Known(sourceToDetector / sourceToPatient),
		SourceToDetector:    imaging.Known(sourceToDetector),
		SourceToPatient:     imaging.Known(sourceToPatient),
		PrimaryAngle:        imaging.Known(primary),
		SecondaryAngle:      imaging.Known(secondary),
		FieldOfViewRotation: imaging.Known(0),
		FieldOfViewFlip:     "NO",
	}
}

// pixelOf a film of side pixels each way, in mm.
func pixelOf(side int) float64 { return detectorPixel * filmSide / float64(side) }

// plate is a square picture of real numbers.
type plate struct {
	side int
	v    []float64
}

func newPlate(side int) plate { return plate{side, make([]float64, side*side)} }

// opaque is the patient without needles as seen by a camera: the line integral
// of attenuation, on every second pixel each way (centres 1, 1; 3, 1; ...). Bone
// and body hold no detail finer than that: the grid of the volume is 3 pixels
// wide.
func opaque(c carm.Camera, v *volume, advance func(float64)) plate {
	p := newPlate(filmSide / 2)
	inParallel(p.side, advance, func(j int) {
		for i := range p.side {
			x, y := float64(2*i+1), float64(2*j+1)
			if math.Hypot(x-filmSide/2, y-filmSide/2) > fieldDiameter/2/detectorPixel+6 {
				continue
			}
			o, d := c.Ray(r2.Vec{X: x, Y: y})
			p.v[j*p.side+i] = softIntegral(o, d) + v.integral(o, d)
		}
	})
	return p
}

// doubled is p at twice the resolution, between its samples bilinear.
func (p plate) doubled() plate {
	out := newPlate(2 * p.side)
	at := func(i, j int) float64 {
		return p.v[max(0, min(j, p.side-1))*p.side+max(0, min(i, p.side-1))]
	}
	for j := range out.side {
		for i := range out.side {
			// Pixel i's centre is i + 0.5; sample k lies at 2k + 1.
			a, b := (i-1)>>1, (j-1)>>1
			fx, fy := 0.25, 0.25
			if i%2 == 0 {
				fx = 0.75
			}
			if j%2 == 0 {
				fy = 0.75
			}
			top := at(a, b)*(1-fx) + at(a+1, b)*fx
			low := at(a, b+1)*(1-fx) + at(a+1, b+1)*fx
			out.v[j*out.side+i] = top*(1-fy) + low*fy
		}
	}
	return out
}

// blurred by a Gaussian of sigma pixels.
func (p plate) blurred(sigma float64) plate {
	reach := int(math.Ceil(3.5 * sigma))
	kernel := make([]float64, 2*reach+1)
	sum := 0.0
	for i := range kernel {
		kernel[i] = math.Exp(-sq(float64(i-reach)) / (2 * sigma * sigma))
		sum += kernel[i]
	}
	for i := range kernel {
		kernel[i] /= sum
	}
	n := p.side
	pass := func(src []float64, step, across int) []float64 {
		dst := make([]float64, len(src))
		inParallel(n, func(float64) {}, func(line int) {
			base := line * across
			for i := range n {
				s := 0.0
				for k, w := range kernel {
					s += w * src[base+max(0, min(n-1, i+k-reach))*step]
				}
				dst[base+i*step] = s
			}
		})
		return dst
	}
	return plate{n, pass(pass(p.v, 1, n), n, 1)}
}

// wide is p blurred by a Gaussian of many pixels, on a coarser grid.
func (p plate) wide(sigma float64) plate {
	const by = 8
	small := newPlate(p.side / by)
	for j := range p.side {
		for i := range p.side {
			small.v[j/by*small.side+i/by] += p.v[j*p.side+i] / (by * by)
		}
	}
	out := small.blurred(sigma / by)
	for out.side < p.side {
		out = out.doubled()
	}
	return out
}

// expose makes a film of the patient with needles: stored values of bitsStored
// bits, brighter where more gets through. The round field stands on black.
func expose(c carm.Camera, back plate, needles []needle, seed uint64) []uint16 {
	return develop(counts(c, back, needles, seed))
}

// counts of photons a pixel takes up, with noise.
func counts(c carm.Camera, back plate, needles []needle, seed uint64) plate {
	// 1. What reaches the detector, relative to the beam.
	primary := back.doubled()
	for _, n := range needles {
		n.cast(c, primary)
	}
	return photons(primary, quanta, focalBlur, seed)
}

// photons a pixel takes up behind the line integrals of attenuation in primary,
// which it uses up: mean is their average number in the middle of the film, blur
// that of focal spot and detector in pixels.
func photons(primary plate, mean, blur float64, seed uint64) plate {
	side := primary.side
	inParallel(side, func(float64) {}, func(j int) {
		for i := range side {
			at := &primary.v[j*side+i]
			*at = math.Exp(-*at) * beamAt(side, i, j)
		}
	})
	// 2. The exposure control holds the middle of the film at a level.
	level := primary.middle()
	scatter := primary.capped(4 * level).wide(90 * float64(side) / filmSide)
	for i := range primary.v {
		primary.v[i] = (primary.v[i] + scatterPart*scatter.v[i]) / (level * (1 + scatterPart)) * mean
	}
	// 3. Focal spot and scintillator blur, then quantum noise, which the
	// scintillator's light spreads a little.
	seen := primary.blurred(blur)
	inParallel(side, func(float64) {}, func(j int) {
		noise := distuv.Poisson{Src: rand.NewPCG(seed, uint64(j))}
		for i := range side {
			at := &seen.v[j*side+i]
			noise.Lambda = max(*at, 1e-3)
			*at = noise.Rand()
		}
	})
	return seen.blurred(lightSpread * float64(side) / filmSide)
}

// beamAt is the beam's strength over a film of side pixels: 1 in the middle,
// less towards the edge, nothing beyond the diaphragm.
func beamAt(side, i, j int) float64 {
	r := offCentre(side, i, j)
	return (1 - 0.18*r*r) * inField(side, i, j)
}

// inField is 1 in the round field, 0 beyond the diaphragm, with a soft edge.
func inField(side, i, j int) float64 { return step(1-offCentre(side, i, j), 0.006) }

// offCentre is how far off the middle of the field a pixel lies: 1 at its edge.
func offCentre(side, i, j int) float64 {
	half := float64(side) / 2
	return math.Sqrt(sq(float64(i)+0.5-half)+sq(float64(j)+0.5-half)) * pixelOf(side) / (fieldDiameter / 2)
}

// capped keeps open beam from drowning a mean.
func (p plate) capped(top float64) plate {
	out := newPlate(p.side)
	for i, v := range p.v {
		out.v[i] = min(v, top)
	}
	return out
}

// middle is the median over the middle ninth.
func (p plate) middle() float64 {
	var v []float64
	for j := p.side / 3; j < 2*p.side/3; j += 2 {
		v = append(v, p.v[j*p.side+p.side/3:j*p.side+2*p.side/3]...)
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// develop turns counts into stored values as a C-arm does for its monitor:
// logarithm with a shoulder for what is overexposed, slow variations held back,
// edges lifted a little, and level and gain set by what the field holds.
func develop(counts plate) []uint16 {
	log := newPlate(counts.side)
	for i, v := range counts.v {
		l := math.Log(max(v, 3) / quanta)
		if l > 0 {
			l = math.Log1p(shoulder*l) / shoulder
		}
		log.v[i] = l
	}
	scale := float64(counts.side) / filmSide
	slow := log.lifted().wide(70 * scale)
	soft := log.blurred(2.2 * scale)
	var sample []float64
	for j := range counts.side {
		for i := range counts.side {
			at := j*counts.side + i
			soft.v[at] = log.v[at] - slowHeld*slow.v[at] + 0.45*(log.v[at]-soft.v[at])
			if (i+j)%16 == 0 && inField(counts.side, i, j) == 1 {
				sample = append(sample, soft.v[at])
			}
		}
	}
	slices.Sort(sample)
	// The darkest hundredth is steel and the brightest is air: neither sets the
	// gain. A film of nothing keeps a gain of 1 rather than blow its noise up.
	low, high := sample[len(sample)*15/1000], sample[len(sample)*99/100]
	gain := 0.72 / max(high-low, 0.72)
	const top = 1<<bitsStored - 1
	out := make([]uint16, len(log.v))
	for j := range counts.side {
		for i := range counts.side {
			at := j*counts.side + i
			v := 0.16 + gain*(soft.v[at]-low)
			switch { // no hard ends
			case v > 0.85:
				v = 0.85 + 0.15*(1-math.Exp(-(v-0.85)/0.15))
			case v < 0.16:
				v = 0.16 * math.Exp((v-0.16)/0.16)
			}
			out[at] = uint16(math.Round(v * top * inField(counts.side, i, j)))
		}
	}
	return out
}

// lifted fills the black about the field with the level at its edge, so that
// the dark does not bleed into slow variations.
func (p plate) lifted() plate {
	out := newPlate(p.side)
	edge := fieldDiameter/2/pixelOf(p.side) - 6
	mid := float64(p.side) / 2
	for j := range p.side {
		for i := range p.side {
			x, y := float64(i)+0.5-mid, float64(j)+0.5-mid
			if r := math.Hypot(x, y); r > edge {
				x, y = x*edge/r, y*edge/r
			}
			out.v[j*p.side+i] = max(-2, min(2.5, p.v[int(y+mid)*p.side+int(x+mid)]))
		}
	}
	return out
}
