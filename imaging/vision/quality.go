package vision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// field is what of a frame the beam reached: not the even black or white beyond a
// diaphragm or shutter.
type field struct {
	mask     []bool
	share    float64 // of all pixels
	shape    string  // circular, rectangular, whole, other, none
	centre   r2.Vec
	radius   float64 // px, of a circular one
	from, to r2.Vec  // of the box about it, px
}

// findField takes away what hangs together with the frame's corners at the lowest
// or highest value, and names the shape of the rest: a circle where its area and
// extent fit one within 3 %, a rectangle likewise.
func findField(p Picture) field {
	w, h := p.Columns, p.Rows
	n := w * h
	out := field{mask: make([]bool, n)}
	for i := range out.mask {
		out.mask[i] = true
	}
	lo, hi := slices.Min(p.V), slices.Max(p.V)
	even := float32(0.01) * (hi - lo)
	var stack []int
	for _, c := range []int{0, w - 1, (h - 1) * w, n - 1} {
		level := p.V[c]
		if level > lo+even && level < hi-even {
			continue // the picture reaches this corner
		}
		take := func(i int) {
			if out.mask[i] && p.V[i] >= level-even && p.V[i] <= level+even {
				out.mask[i] = false
				stack = append(stack, i)
			}
		}
		take(c)
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if i%w > 0 {
				take(i - 1)
			}
			if i%w < w-1 {
				take(i + 1)
			}
			if i >= w {
				take(i - w)
			}
			if i < n-w {
				take(i + w)
			}
		}
	}
	count := 0.0
	x0, y0, x1, y1 := w, h, 0, 0
	for i, in := range out.mask {
		if in {
			x, y := i%w, i/w
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x+1), max(y1, y+1)
			out.centre = r2.Add(out.centre, r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5})
			count++
		}
	}
	out.share = count / float64(n)
	if count == 0 {
		out.shape = "none"
		return out
	}
	out.from, out.to = r2.Vec{X: float64(x0), Y: float64(y0)}, r2.Vec{X: float64(x1), Y: float64(y1)}
	out.centre = r2.Scale(1/count, out.centre)
	wide, tall := out.to.X-out.from.X, out.to.Y-out.from.Y
	box := count / (wide * tall)
	out.radius = math.Sqrt(count / math.Pi)
	switch {
	case out.share > 0.999:
		out.shape = "whole"
	case math.Abs(box/(math.Pi/4)-1) < 0.03 && math.Abs(wide-tall) < 0.03*wide:
		out.shape = "circular"
	case box > 0.97:
		out.shape = "rectangular"
	default:
		out.shape = "other"
	}
	return out
}

// saturated is the share of the field at its lowest and at its highest value.
func saturated(p Picture, f field) (dark, bright float64) {
	lo, hi, n := float32(math.Inf(1)), float32(math.Inf(-1)), 0.0
	for i, v := range p.V {
		if f.mask[i] {
			lo, hi, n = min(lo, v), max(hi, v), n+1
		}
	}
	for i, v := range p.V {
		if f.mask[i] && v == lo {
			dark += 1 / n
		}
		if f.mask[i] && v == hi {
			bright += 1 / n
		}
	}
	return dark, bright
}

// grainOf is the standard deviation of the noise, as pixels two apart show it,
// which a detector's blur hardly joins: the median size of second differences over
// the field, v(x-2) - 2 v(x) + v(x+2), whose variance is 6 times the noise's, along
// rows or columns, whichever is less, as edges only add to it; and the range from the 5th to the 95th percentile of the field.
func grainOf(p Picture, f field) (noise, span float64) {
	var across, down, v []float64
	w := p.Columns
	for y := 2; y+2 < p.Rows; y += 3 {
		for x := 2; x+2 < w; x += 3 {
			i := y*w + x
			if f.mask[i] && f.mask[i-2] && f.mask[i+2] && f.mask[i-2*w] && f.mask[i+2*w] {
				across = append(across, math.Abs(float64(p.V[i-2]-2*p.V[i]+p.V[i+2])))
				down = append(down, math.Abs(float64(p.V[i-2*w]-2*p.V[i]+p.V[i+2*w])))
				v = append(v, float64(p.V[i]))
			}
		}
	}
	if len(v) < 100 {
		return 0, 0
	}
	slices.Sort(v)
	return 1.4826 * min(middle(across), middle(down)) / math.Sqrt(6), v[len(v)*95/100] - v[len(v)*5/100]
}

// blurOf is the spread of the sharpest edges in the field, as the standard
// deviation s of a Gaussian in pixels: seen by derivatives of width a and of width
// sqrt(a²+b²), the top of an edge's slope falls by R with R² = 1 + b²/(s²+a²)
// (after Zhuo and Sim, Pattern Recognit 2011;44:1852-1858). The tenth percentile
// is taken: anatomy is rounder than the system's blur. ok is false where no edge
// stands out from the noise.
func blurOf(p Picture, f field, noise float64) (sigma float64, ok bool) {
	const a, b, clear = 1.0, 2.0, 12
	part := p.cut(0, 0, p.Columns, p.Rows)
	fine, coarse := part.gradient(a), part.gradient(math.Hypot(a, b))
	slope := func(g gradient, i int) float64 { return math.Hypot(float64(g.x.v[i]), float64(g.y.v[i])) }
	// White noise leaves sd / (a² sqrt(8 pi)) in a Gaussian derivative of width a.
	floor := 8 * noise / (a * a * math.Sqrt(8*math.Pi))
	var spreads []float64
	w := p.Columns
	for y := clear; y < p.Rows-clear; y++ {
		for x := clear; x < w-clear; x++ {
			i := y*w + x
			m := slope(fine, i)
			if m <= floor || !f.mask[i-clear] || !f.mask[i+clear] || !f.mask[i-clear*w] || !f.mask[i+clear*w] {
				continue
			}
			// Only tops of the slope across the edge.
			step := int(math.Round(float64(fine.y.v[i])/m))*w + int(math.Round(float64(fine.x.v[i])/m))
			if slope(fine, i+step) > m || slope(fine, i-step) > m {
				continue
			}
			if r := m / max(slope(coarse, i), 1e-9); r > 1.02 {
				spreads = append(spreads, math.Sqrt(max(0, b*b/(r*r-1)-a*a)))
			}
		}
	}
	if len(spreads) < 60 {
		return 0, false
	}
	slices.Sort(spreads)
	return spreads[len(spreads)/10], true
}

// shiftBetween is how far, in pixels, b's picture lies from a's: least squares on
// the gradient in the field (Lucas and Kanade, IJCAI 1981:674-679), on means of
// four by four pixels.
func shiftBetween(a, b Picture, f field) r2.Vec {
	pa, pb := a.cut(0, 0, a.Columns, a.Rows).halved().halved(), b.cut(0, 0, b.Columns, b.Rows).halved().halved()
	g := pa.gradient(1)
	var shift r2.Vec
	for range 8 {
		var xx, xy, yy, xt, yt float64
		for j := 4; j < pa.height-4; j++ {
			for i := 4; i < pa.width-4; i++ {
				c := pa.centre(i, j)
				if !f.mask[int(c.Y)*a.Columns+int(c.X)] {
					continue
				}
				gx, gy := float64(g.x.v[j*pa.width+i]), float64(g.y.v[j*pa.width+i])
				d := pb.at(r2.Add(c, shift)) - float64(pa.v[j*pa.width+i])
				xx, xy, yy, xt, yt = xx+gx*gx, xy+gx*gy, yy+gy*gy, xt+gx*d, yt+gy*d
			}
		}
		det := xx*yy - xy*xy
		if det <= 1e-9*xx*yy {
			break
		}
		step := r2.Vec{X: -(yy*xt - xy*yt) / det * pa.step, Y: -(xx*yt - xy*xt) / det * pa.step}
		shift = r2.Add(shift, step)
		if r2.Norm(step) < 0.01 {
			break
		}
	}
	return shift
}

// stillWithin is how far, in pixels, a picture may move for its mean with others
// not to be blurrier in a way that matters: half a pixel.
const stillWithin = 0.5

// answerQuality measures a frame, or a run by its first frame and what moves.
func answerQuality(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	f := findField(p[0])
	var out assist.Answer
	tell := func(name string, value float64, unit, words string, args ...any) {
		out.Quality = append(out.Quality, assist.Figure{Name: name, Value: value, Unit: unit, Words: fmt.Sprintf(words, args...)})
	}
	switch f.shape {
	case "none":
		return assist.Answer{Refused: "the frame is even from edge to edge: there is no picture to judge"}, nil, nil
	case "circular":
		tell("field", f.share, "1", "circular field, radius %.0f px about %.0f,%.0f", f.radius, f.centre.X, f.centre.Y)
	case "rectangular":
		tell("field", f.share, "1", "rectangular field from %.0f,%.0f to %.0f,%.0f", f.from.X, f.from.Y, f.to.X, f.to.Y)
	case "whole":
		tell("field", f.share, "1", "the whole frame is exposed")
	default:
		tell("field", f.share, "1", "a field of no plain shape, %.0f %% of the frame", 100*f.share)
	}
	noise, span := grainOf(p[0], f)
	if noise > 0 {
		word := "little noise"
		switch r := span / noise; {
		case r < 10:
			word = "very noisy, low dose"
		case r < 25:
			word = "noisy"
		}
		tell("noise", noise, "stored values", "%s: standard deviation %.1f, the field spans %.0f times as much", word, noise, span/noise)
	}
	if blur, ok := blurOf(p[0], f, noise); ok {
		switch {
		case blur < 0.5: // less than a pixel shows
			tell("blur", 0.5, "px", "sharp: the sharpest edges spread over less than 0.5 px (one standard deviation)")
		case blur > 2.5:
			tell("blur", blur, "px", "blurred: even the sharpest edges spread over %.1f px (one standard deviation)", blur)
		default:
			tell("blur", blur, "px", "sharp: the sharpest edges spread over %.1f px (one standard deviation)", blur)
		}
	} else {
		out.Notes = append(out.Notes, "blur cannot be told: no edge stands out from the noise")
	}
	dark, bright := saturated(p[0], f)
	if share := dark + bright; share > 0.002 {
		tell("saturation", share, "1", "%.1f %% of the field at its lowest value, %.1f %% at its highest: nothing can be told apart there", 100*dark, 100*bright)
	} else {
		tell("saturation", share, "1", "no part of the field saturated")
	}
	if len(p) > 1 {
		from, to, most := stillSpan(p, f)
		tell("motion", most, "px", "the picture moves by up to %.1f px against the frames before", most)
		if to > from {
			tell("span", float64(to-from+1), "1", "frames %d to %d of those given lie still: their mean has %.1f times less noise", from+1, to+1, math.Sqrt(float64(to-from+1)))
		} else {
			out.Notes = append(out.Notes, "no two frames in a row lie still: a mean would blur")
		}
	}
	return out, nil, nil
}

// stillSpan is the longest span of frames, from 0, that lie within stillWithin of
// its first, and the largest shift met with.
func stillSpan(p []Picture, f field) (from, to int, most float64) {
	begin := 0
	for k := 1; k < len(p); k++ {
		d := r2.Norm(shiftBetween(p[begin], p[k], f))
		most = max(most, d)
		if d > stillWithin {
			begin = k
		}
		if k-begin > to-from {
			from, to = begin, k
		}
	}
	return from, to, most
}
