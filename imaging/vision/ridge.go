package vision

import (
	"image"
	"math"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// ridge holds the second derivatives of a picture smoothed by a Gaussian of
// sigma pixels: across a dark line they are large.
type ridge struct {
	sigma      float64
	xx, xy, yy Picture
	origin     r2.Vec // of the first pixel's corner on the whole picture
}

// ridges of a cut-out of the picture about p, half a side reach pixels; the
// whole picture where reach is 0.
func (p Picture) ridges(sigma float64, about r2.Vec, reach int) (ridge, error) {
	src, err := p.matrix()
	if err != nil {
		return ridge{}, err
	}
	defer src.release()
	view := image.Rect(0, 0, p.Columns, p.Rows)
	if reach > 0 {
		view = view.Intersect(image.Rect(int(about.X)-reach, int(about.Y)-reach, int(about.X)+reach, int(about.Y)+reach))
	}
	part := &matrix{src.Region(view)}
	held.Add(1)
	defer part.release()
	soft := newMatrix()
	defer soft.release()
	gocv.GaussianBlur(part.Mat, &soft.Mat, image.Point{}, sigma, sigma, gocv.BorderReplicate)
	out := ridge{sigma: sigma, origin: r2.Vec{X: float64(view.Min.X), Y: float64(view.Min.Y)}}
	for _, d := range []struct {
		dx, dy int
		scale  float64
		to     *Picture
	}{{2, 0, 0.25, &out.xx}, {1, 1, 0.25, &out.xy}, {0, 2, 0.25, &out.yy}} {
		m := newMatrix()
		gocv.Sobel(soft.Mat, &m.Mat, gocv.MatTypeCV32F, d.dx, d.dy, 3, d.scale, 0, gocv.BorderReplicate)
		*d.to, err = m.picture()
		m.release()
		if err != nil {
			return ridge{}, err
		}
	}
	return out, nil
}

// bilinear value at q in SR coordinates of the picture's own corner; ok is false
// outside.
func (p Picture) bilinear(q r2.Vec) (float64, bool) {
	x, y := q.X-0.5, q.Y-0.5
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || i >= p.Columns-1 || j >= p.Rows-1 {
		return 0, false
	}
	x, y = x-float64(i), y-float64(j)
	a := p.V[j*p.Columns+i : j*p.Columns+i+2]
	b := p.V[(j+1)*p.Columns+i : (j+1)*p.Columns+i+2]
	return (float64(a[0])*(1-x)+float64(a[1])*x)*(1-y) + (float64(b[0])*(1-x)+float64(b[1])*x)*y, true
}

// along is the mean second derivative across the direction, over a stretch of a
// straight line from back pixels behind q to ahead pixels before it, in units of
// grey values (times sigma squared); ok is false where less than half lies on
// the picture.
func (r ridge) along(q, dir r2.Vec, back, ahead float64) (float64, bool) {
	n := across(dir)
	nxx, nxy, nyy := n.X*n.X, 2*n.X*n.Y, n.Y*n.Y
	sum, count, all := 0.0, 0, 0
	for f := -back; f <= ahead; f += 1.5 {
		all++
		at := r2.Sub(r2.Add(q, r2.Scale(f, dir)), r.origin)
		// The nearest pixel does: the picture is smooth and the line long.
		i, j := int(at.X), int(at.Y)
		if at.X < 0 || at.Y < 0 || i >= r.xx.Columns || j >= r.xx.Rows {
			continue
		}
		k := j*r.xx.Columns + i
		sum += nxx*float64(r.xx.V[k]) + nxy*float64(r.xy.V[k]) + nyy*float64(r.yy.V[k])
		count++
	}
	if 2*count < all {
		return 0, false
	}
	return sum / float64(count) * r.sigma * r.sigma, true
}

// seed is a straight piece of something dark and thin.
type seed struct {
	at, dir r2.Vec
	sigma   float64
	z       float64 // how far it stands out of what lies about it
}

// seedScales are the widths that are tried, as the sigma of the smoothing.
var seedScales = []float64{1.3, 2.2, 3.6}

// seedReach is how far a click may miss the shaft, pixels.
const seedReach = 14.0

// seedAt finds the straight dark line nearest to a click, weighing how clear it
// is against how far.
func (p Picture) seedAt(click r2.Vec) (seed, error) {
	const half = 22.0
	const step = math.Pi / 60
	best, score := seed{}, 0.0
	for _, sigma := range seedScales {
		r, err := p.ridges(sigma, click, 64)
		if err != nil {
			return best, err
		}
		var all []float64
		type found struct {
			at, dir r2.Vec
			v, d    float64
		}
		var local []found
		for a := 0.0; a < math.Pi-step/2; a += step {
			dir := r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
			n := across(dir)
			for d := -seedReach - 8; d <= seedReach+8; d++ {
				q := r2.Add(click, r2.Scale(d, n))
				v, ok := r.along(q, dir, half, half)
				if !ok {
					continue
				}
				all = append(all, math.Abs(v))
				if math.Abs(d) <= seedReach {
					local = append(local, found{q, dir, v, d})
				}
			}
		}
		sd := 1.4826*median(all) + 1e-6
		for _, f := range local {
			if s := f.v / sd * math.Exp(-f.d*f.d/(2*7*7)); s > score {
				score = s
				best = seed{f.at, f.dir, sigma, f.v / sd}
			}
		}
	}
	return best, nil
}

// trackStep is the distance between points of a track, pixels.
const trackStep = 5.0

// track follows the seed both ways while it goes on as it began.
func (r ridge) track(s seed) line {
	first, ok := r.improve(s.at, s.dir, 12, 12, 0.1, 3)
	if !ok {
		first = stretch{at: s.at, dir: s.dir}
	}
	fore := r.follow(first, 1)
	back := r.follow(first, -1)
	var p []r2.Vec
	for i := len(back) - 1; i >= 0; i-- {
		p = append(p, back[i])
	}
	p = append(p, first.at)
	p = append(p, fore...)
	if len(p) < 2 {
		p = append(p, r2.Add(p[0], r2.Scale(trackStep, s.dir)))
	}
	return newLine(p)
}

// stretch of a track.
type stretch struct {
	at, dir r2.Vec
	v       float64 // mean second derivative across
}

// improve turns and shifts a straight piece to where it is darkest: within turn
// radians and shift pixels.
func (r ridge) improve(at, dir r2.Vec, back, ahead, turn, shift float64) (stretch, bool) {
	best, found := stretch{v: math.Inf(-1)}, false
	n := across(dir)
	for a := -3; a <= 3; a++ {
		angle := turn * float64(a) / 3
		d := r2.Add(r2.Scale(math.Cos(angle), dir), r2.Scale(math.Sin(angle), n))
		for o := -3; o <= 3; o++ {
			q := r2.Add(at, r2.Scale(shift*float64(o)/3, n))
			v, ok := r.along(q, d, back, ahead)
			if !ok {
				continue
			}
			// What goes straight on is preferred: a crossing needle is not taken.
			v *= 1 - 0.03*math.Abs(float64(a)) - 0.02*math.Abs(float64(o))
			if v > best.v {
				best, found = stretch{q, d, v}, true
			}
		}
	}
	return best, found
}

// follow the line from a stretch, forwards or backwards. It ends where the line
// has not been seen for a while.
func (r ridge) follow(first stretch, sign float64) []r2.Vec {
	const unseen = 6 // steps
	cur := stretch{first.at, r2.Scale(sign, first.dir), first.v}
	usual := first.v
	var out []r2.Vec
	kept, miss := 0, 0
	for range 600 {
		ahead := r2.Add(cur.at, r2.Scale(trackStep, cur.dir))
		next, ok := r.improve(ahead, cur.dir, 9, 7, 0.05, 1)
		if !ok {
			break
		}
		// What the same measure finds beside the line.
		var beside []float64
		n := across(next.dir)
		for _, d := range []float64{-22, -18, -14, -10, 10, 14, 18, 22} {
			if v, ok := r.along(r2.Add(next.at, r2.Scale(d*math.Max(1, r.sigma/2), n)), next.dir, 9, 7); ok {
				beside = append(beside, math.Abs(v))
			}
		}
		if next.v > 2.2*median(beside) && next.v > 0.22*usual {
			usual = 0.9*usual + 0.1*next.v
			cur = next
			out = append(out, cur.at)
			kept, miss = len(out), 0
			continue
		}
		// Go straight on, unseen.
		if miss++; miss > unseen {
			break
		}
		cur = stretch{at: ahead, dir: cur.dir, v: cur.v}
		out = append(out, cur.at)
	}
	return out[:kept]
}
