package vision

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// blockLength is the stretch of shaft, in pixels, that has a background of its
// own: constant, slopes along and across, their product and a bow across.
const blockLength = 12.0

// What is known before looking: how far pictures are blurred, as the mean and
// standard deviation of its logarithm. Wide: it holds a thin shaft's width and
// blur apart where the picture cannot (common practice, no source).
const (
	usualBlur  = 1.1
	blurSpread = 0.6
)

// shaft is the model of a needle's shaft fitted to a band about a line.
type shaft struct {
	from, to float64 // along the line
	reach    float64 // of the band, pixels to either side
	knots    []float64
	offset   []float64     // of the axis across the line, pixels, at the knots
	cov      *mat.SymDense // of offset, px^2
	depth    []float64     // of the shadow's unblurred middle, grey values, at depthKnots
	depths   []float64     // their knots
	width    float64
	blur     float64
	noise    noise
	kept     float64 // part of the blocks that are used
}

// hat is the linear spline with these knots: indices and weights of the two that
// count at s. One knot is a constant.
func hat(knots []float64, s float64) (i int, w float64) {
	if len(knots) == 1 {
		return 0, 0
	}
	for i < len(knots)-2 && s > knots[i+1] {
		i++
	}
	return i, (s - knots[i]) / (knots[i+1] - knots[i])
}

// spline value at s.
func spline(knots, v []float64, s float64) float64 {
	i, w := hat(knots, s)
	if len(knots) == 1 {
		return v[0]
	}
	return v[i]*(1-w) + v[i+1]*w
}

// errNoFit: the model does not settle on the pixels.
var errNoFit = errors.New("no shaft fits")

// block is a stretch of the band with a background of its own.
type block struct {
	members []int // indices of samples, in use
	mid     float64
	basis   [][]float64 // orthonormal background, where it is asked for
	dropped bool

	ground [backs][backs]float64 // of the background's columns with each other
	values [backs]float64        // with the values
	square float64               // of the values
	factor [backs][backs]float64 // Cholesky's of ground
}

// backs is the number of a block's background columns.
const backs = 5

// back is the background's columns at a sample, before they are orthonormal.
func (b *block) back(k sample) [backs]float64 {
	s, t := (k.s-b.mid)/blockLength, k.t/10
	return [backs]float64{1, t, s, s * t, t * t}
}

// blockCount of a stretch.
func blockCount(from, to float64) int { return max(1, int(math.Round((to-from)/blockLength))) }

// blocks of the samples that are used.
func blocks(samples []sample, used []bool, from, to float64) []block {
	n := blockCount(from, to)
	out := make([]block, n)
	each := (to - from) / float64(n)
	for i, k := range samples {
		if used[i] {
			b := max(0, min(n-1, int((k.s-from)/each)))
			out[b].members = append(out[b].members, i)
		}
	}
	for i := range out {
		b := &out[i]
		b.mid = from + (float64(i)+0.5)*each
		if len(b.members) < 24 {
			b.dropped = true
			continue
		}
		for _, at := range b.members {
			k := samples[at]
			g := b.back(k)
			for i, x := range g {
				for j := i; j < backs; j++ {
					b.ground[i][j] += x * g[j]
				}
				b.values[i] += x * k.v
			}
			b.square += k.v * k.v
		}
		// Cholesky, upper triangle.
		for i := range backs {
			for j := i; j < backs; j++ {
				v := b.ground[i][j]
				for k := range i {
					v -= b.factor[k][i] * b.factor[k][j]
				}
				if i == j {
					if v <= 1e-9*b.ground[i][i] {
						b.dropped = true
						break
					}
					b.factor[i][i] = math.Sqrt(v)
				} else {
					b.factor[i][j] = v / b.factor[i][i]
				}
			}
		}
		if !b.dropped {
			b.values = b.forward(b.values)
		}
	}
	return out
}

// forward solves factor' x = v.
func (b *block) forward(v [backs]float64) [backs]float64 {
	for i := range backs {
		for k := range i {
			v[i] -= b.factor[k][i] * v[k]
		}
		v[i] /= b.factor[i][i]
	}
	return v
}

// orthonormal makes the columns so, by Gram and Schmidt twice over; columns that
// hold nothing new are left out.
func orthonormal(cols [][]float64) [][]float64 {
	var out [][]float64
	for _, c := range cols {
		before := dot(c, c)
		for range 2 {
			for _, q := range out {
				axpy(-dot(q, c), q, c)
			}
		}
		if n := dot(c, c); n > 1e-9*before {
			f := 1 / math.Sqrt(n)
			for i := range c {
				c[i] *= f
			}
			out = append(out, c)
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

// axpy adds f a to b.
func axpy(f float64, a, b []float64) {
	for i, x := range a {
		b[i] += f * x
	}
}

// based gives the blocks their orthonormal backgrounds.
func based(bs []block, samples []sample) {
	for i := range bs {
		b := &bs[i]
		if b.dropped || b.basis != nil {
			continue
		}
		cols := make([][]float64, backs)
		for c := range cols {
			cols[c] = make([]float64, len(b.members))
		}
		for j, at := range b.members {
			for c, x := range b.back(samples[at]) {
				cols[c][j] = x
			}
		}
		b.basis = orthonormal(cols)
	}
}

// rest takes the background out of a column over the samples, block by block;
// what is not used becomes 0.
func rest(bs []block, v []float64) []float64 {
	out := make([]float64, len(v))
	var part []float64
	for _, b := range bs {
		if b.dropped {
			continue
		}
		part = part[:0]
		some := false
		for _, i := range b.members {
			part = append(part, v[i])
			some = some || v[i] != 0
		}
		if !some {
			continue
		}
		for _, q := range b.basis {
			axpy(-dot(q, part), q, part)
		}
		for j, i := range b.members {
			out[i] = part[j]
		}
	}
	return out
}

// alignedKnots from one end to the other, about so many pieces, at the borders of
// blocks.
func alignedKnots(from, to float64, pieces int) []float64 {
	n := blockCount(from, to)
	pieces = max(1, min(pieces, n))
	out := make([]float64, pieces+1)
	for i := range out {
		out[i] = from + (to-from)*math.Round(float64(i*n)/float64(pieces))/float64(n)
	}
	return out
}

// fitShaft fits axis, width, blur and contrast of the shaft to the band's
// samples between from and to along the line, beginning with start; pieces is
// how many straight pieces the axis has beside the line, 1 for a straight one
// where the line is straight. In the second and later rounds what belongs to
// something else is left out. full measures the noise and its correlation too;
// else the covariance is that of white noise.
func fitShaft(samples []sample, from, to, reach float64, start shaft, pieces, rounds int, full bool) (shaft, error) {
	fit := start
	fit.from, fit.to, fit.reach = from, to, reach
	fit.knots = alignedKnots(from, to, pieces)
	fit.offset = make([]float64, len(fit.knots))
	if len(start.offset) > 0 {
		for i, s := range fit.knots {
			fit.offset[i] = spline(start.knots, start.offset, s)
		}
	}
	fit.depths = alignedKnots(from, to, int((to-from)/90))
	fit.depth = make([]float64, len(fit.depths))
	for i, s := range fit.depths {
		fit.depth[i] = spline(start.depths, start.depth, math.Max(start.depths[0], math.Min(start.depths[len(start.depths)-1], s)))
	}
	used := make([]bool, len(samples))
	for i := range used {
		used[i] = true
	}
	r := newRaster(samples)
	bs := blocks(samples, used, from, to)
	for round := range rounds {
		if round > 0 {
			fit.setAside(samples, used, r, bs)
			bs = blocks(samples, used, from, to)
			fit.dropOdd(samples, bs)
		}
		if err := fit.settle(samples, bs); err != nil {
			return fit, err
		}
	}
	kept := 0
	for _, b := range bs {
		if !b.dropped {
			kept++
		}
	}
	fit.kept = float64(kept) / float64(len(bs))
	if full {
		fit.judge(samples, used, bs, r)
	}
	return fit, nil
}

// columns of the model at the samples: value, then derivatives by offset, width,
// logarithm of blur, and depth.
func (f *shaft) columns(samples []sample) (value []float64, cols [][]float64) {
	no, nd := len(f.offset), len(f.depth)
	p := newProfile(f.width, f.blur, f.reach+4)
	value = make([]float64, len(samples))
	cols = make([][]float64, no+2+nd)
	table := make([]float64, len(cols)*len(samples))
	for c := range cols {
		cols[c] = table[c*len(samples) : (c+1)*len(samples)]
	}
	for k, x := range samples {
		oi, ow := hat(f.knots, x.s)
		di, dw := hat(f.depths, x.s)
		off := f.offset[oi]*(1-ow) + f.offset[oi+1]*ow
		depth := f.depth[di]*(1-dw) + f.depth[di+1]*dw
		v, byT, byW, byB := p.at(x.t - off)
		// The shadow is darker than what lies about it.
		value[k] = -depth * v
		cols[oi][k] = depth * byT * (1 - ow)
		cols[oi+1][k] = depth * byT * ow
		cols[no][k] = -depth * byW
		cols[no+1][k] = -depth * byB * f.blur
		cols[no+2+di][k] = -v * (1 - dw)
		cols[no+2+di+1][k] = -v * dw
	}
	return value, cols
}

// normal equations of a shaft: gradient and matrix of half the sum of squares
// with the backgrounds taken out, and that sum.
type normal struct {
	a    *mat.SymDense
	g    []float64
	cost float64
	n    int // pixels less background columns
}

// inner columns of a block: derivatives by offset (at the block's middle and its
// slope along), width and logarithm of blur, depth (the same two).
const inner = 6

// equations of the model at the samples. Within a block the depth counts as even
// where it multiplies a derivative.
func (f *shaft) equations(samples []sample, bs []block) normal {
	no, nd := len(f.offset), len(f.depth)
	out := normal{a: mat.NewSymDense(no+2+nd, nil), g: make([]float64, no+2+nd)}
	p := newProfile(f.width, f.blur, f.reach+4)
	side := f.width/2 + 5*f.blur
	for at := range bs {
		b := &bs[at]
		if b.dropped {
			continue
		}
		oi, ow := hat(f.knots, b.mid)
		di, dw := hat(f.depths, b.mid)
		oStep, dStep := blockLength/(f.knots[oi+1]-f.knots[oi]), blockLength/(f.depths[di+1]-f.depths[di])
		o0, o1 := f.offset[oi], f.offset[oi+1]
		d0, d1 := f.depth[di], f.depth[di+1]
		off, offSlope := o0*(1-ow)+o1*ow, (o1-o0)*oStep
		depth, depthSlope := d0*(1-dw)+d1*dw, (d1-d0)*dStep
		var gram [inner][inner]float64
		var with [inner][backs]float64
		var value [inner]float64
		for _, i := range b.members {
			k := samples[i]
			s := (k.s - b.mid) / blockLength
			t := k.t - off - offSlope*s
			if t > side || t < -side {
				continue
			}
			v, byT, byW, byB := p.at(t)
			c := [inner]float64{depth * byT, depth * byT * s, -depth * byW, -depth * byB * f.blur, -v, -v * s}
			back := b.back(k)
			for i := range inner {
				x := c[i]
				for j := i; j < inner; j++ {
					gram[i][j] += x * c[j]
				}
				for j := range backs {
					with[i][j] += x * back[j]
				}
				value[i] += x * k.v
			}
		}
		// The backgrounds' part out.
		for i := range inner {
			with[i] = b.forward(with[i])
		}
		for i := range inner {
			for j := i; j < inner; j++ {
				for q := range backs {
					gram[i][j] -= with[i][q] * with[j][q]
				}
				gram[j][i] = gram[i][j]
			}
			for q := range backs {
				value[i] -= with[i][q] * b.values[q]
			}
		}
		square := b.square
		for q := range backs {
			square -= b.values[q] * b.values[q]
		}
		// The model is depth times column 4 and its slope times column 5.
		m := [2]float64{depth, depthSlope}
		out.cost += square - 2*(m[0]*value[4]+m[1]*value[5]) +
			m[0]*m[0]*gram[4][4] + 2*m[0]*m[1]*gram[4][5] + m[1]*m[1]*gram[5][5]
		out.n += len(b.members) - backs
		// From the block's columns to the parameters'.
		type part struct {
			to, col int
			w       float64
		}
		parts := []part{{oi, 0, 1 - ow}, {oi, 1, -oStep}, {oi + 1, 0, ow}, {oi + 1, 1, oStep}, {no, 2, 1}, {no + 1, 3, 1},
			{no + 2 + di, 4, 1 - dw}, {no + 2 + di, 5, -dStep}, {no + 3 + di, 4, dw}, {no + 3 + di, 5, dStep}}
		for _, x := range parts {
			out.g[x.to] += x.w * (value[x.col] - m[0]*gram[x.col][4] - m[1]*gram[x.col][5])
			for _, y := range parts {
				if y.to >= x.to {
					out.a.SetSym(x.to, y.to, out.a.At(x.to, y.to)+x.w*y.w*gram[x.col][y.col])
				}
			}
		}
	}
	return out
}

// believed adds what is known of the blur before looking.
func (e *normal) believed(f *shaft) {
	k := len(f.offset) + 1
	w := f.variance() / (blurSpread * blurSpread)
	d := math.Log(f.blur / usualBlur)
	e.a.SetSym(k, k, e.a.At(k, k)+w)
	e.g[k] -= w * d
	e.cost += w * d * d
}

// settle by Gauss-Newton steps, kept short where they lead uphill.
func (f *shaft) settle(samples []sample, bs []block) error {
	no, nd := len(f.offset), len(f.depth)
	now := f.equations(samples, bs)
	if now.n < 50 {
		return errNoFit
	}
	f.noise.sd = math.Sqrt(math.Max(now.cost, 1e-9) / float64(now.n))
	now.believed(f)
	damp := 1e-4
	for range 14 {
		n := no + 2 + nd
		g := mat.NewVecDense(n, now.g)
		better, gain := false, 0.0
		for range 6 {
			d := mat.NewSymDense(n, nil)
			d.CopySym(now.a)
			for i := range n {
				d.SetSym(i, i, now.a.At(i, i)*(1+damp)+1e-12)
			}
			var ch mat.Cholesky
			var step mat.VecDense
			if !ch.Factorize(d) || ch.SolveVecTo(&step, g) != nil {
				damp = math.Max(damp*10, 1e-6)
				continue
			}
			next := *f
			next.offset, next.depth = append([]float64(nil), f.offset...), append([]float64(nil), f.depth...)
			for i := range no {
				next.offset[i] += math.Max(-1.5, math.Min(1.5, step.AtVec(i)))
			}
			next.width = math.Max(0.5, math.Min(1.3*f.reach, f.width+math.Max(-1.5, math.Min(1.5, step.AtVec(no)))))
			next.blur = math.Max(0.35, math.Min(6, f.blur*math.Exp(math.Max(-0.4, math.Min(0.4, step.AtVec(no+1))))))
			for i := range nd {
				next.depth[i] += step.AtVec(no + 2 + i)
			}
			then := next.equations(samples, bs)
			then.believed(&next)
			if then.cost <= now.cost*(1+1e-12) {
				gain = now.cost - then.cost
				*f, now, better = next, then, true
				damp = math.Max(1e-9, damp/10)
				break
			}
			damp = math.Max(damp*10, 1e-6)
		}
		for i := range no {
			if math.Abs(f.offset[i]) > f.reach {
				return errNoFit
			}
		}
		sd := math.Sqrt(math.Max(now.cost, 1e-9) / float64(now.n))
		// A seventh of a standard deviation of any parameter is not worth a step.
		if !better || gain < 0.02*sd*sd {
			f.noise.sd = sd
			break
		}
		f.noise.sd = sd
	}
	f.cov = nil
	var ch mat.Cholesky
	var inv mat.SymDense
	for i := range no + 2 + nd {
		now.a.SetSym(i, i, now.a.At(i, i)*(1+1e-10)+1e-12)
	}
	if ch.Factorize(now.a) && ch.InverseTo(&inv) == nil {
		f.cov = mat.NewSymDense(no, nil)
		for i := range no {
			for j := i; j < no; j++ {
				f.cov.SetSym(i, j, f.variance()*inv.At(i, j))
			}
		}
	}
	return nil
}

// shadow is the model's value at the samples.
func (f *shaft) shadow(samples []sample) []float64 {
	p := newProfile(f.width, f.blur, f.reach+4)
	out := make([]float64, len(samples))
	for k, x := range samples {
		v, _, _, _ := p.at(x.t - spline(f.knots, f.offset, x.s))
		out[k] = -v * spline(f.depths, f.depth, x.s)
	}
	return out
}

// variance of the noise as far as known.
func (f *shaft) variance() float64 { return f.noise.sd * f.noise.sd }

// residuals of the used samples against shadow and background.
func (f *shaft) residuals(samples []sample, bs []block) []float64 {
	based(bs, samples)
	out := f.shadow(samples)
	for i, k := range samples {
		out[i] = k.v - out[i]
	}
	return rest(bs, out)
}

// setAside leaves pixels out that belong to something else: where the mean over
// three by three pixels stands far off the model, on either side of the shaft.
func (f *shaft) setAside(samples []sample, used []bool, r raster, bs []block) {
	res := f.residuals(samples, bs)
	// The size of the noise by the median, which what is odd does not move.
	means := make([]float64, len(samples))
	for i, k := range samples {
		n := 0
		for dy := int32(-1); dy <= 1; dy++ {
			for dx := int32(-1); dx <= 1; dx++ {
				if j := r.at(k.x+dx, k.y+dy); j >= 0 {
					means[i] += res[j]
					n++
				}
			}
		}
		means[i] /= float64(n)
	}
	sizes := make([]float64, len(means))
	for i, m := range means {
		sizes[i] = math.Abs(m)
	}
	sd := 1.4826 * median(sizes)
	core := f.width/2 + 1.5*f.blur
	for i, k := range samples {
		if math.Abs(k.t-spline(f.knots, f.offset, k.s)) > core && math.Abs(means[i]) > 4*sd {
			used[i] = false
		}
	}
}

// dropOdd leaves out whole stretches on which the model does not hold, such as
// where another needle crosses: their residual variance stands out.
func (f *shaft) dropOdd(samples []sample, bs []block) {
	res := f.residuals(samples, bs)
	var all []float64
	own := make([]float64, len(bs))
	for b := range bs {
		if bs[b].dropped {
			continue
		}
		for _, i := range bs[b].members {
			own[b] += res[i] * res[i]
		}
		own[b] /= float64(len(bs[b].members) - backs)
		all = append(all, own[b])
	}
	if len(all) < 4 {
		return
	}
	mid := median(append([]float64(nil), all...))
	left := len(all)
	for b := range bs {
		if !bs[b].dropped && own[b] > 2.2*mid && left > len(all)/2 {
			bs[b].dropped = true
			left--
		}
	}
}

// judge measures the noise and the covariance of the axis: that of a
// least-squares estimate in noise of the measured correlation, (J'J)^-1 J'RJ
// (J'J)^-1 times the noise's variance.
func (f *shaft) judge(samples []sample, used []bool, bs []block, r raster) {
	free := len(f.offset) + 2 + len(f.depth)
	in := make([]bool, len(samples))
	for _, b := range bs {
		if b.dropped {
			continue
		}
		free += len(b.basis)
		for _, i := range b.members {
			in[i] = used[i]
		}
	}
	res := f.residuals(samples, bs)
	f.noise = r.measure(samples, in, res, free)
	_, cols := f.columns(samples)
	n := len(cols)
	for i := range cols {
		cols[i] = rest(bs, cols[i])
	}
	a := mat.NewSymDense(n, nil)
	for j := range n {
		for i := 0; i <= j; i++ {
			a.SetSym(i, j, dot(cols[i], cols[j]))
		}
	}
	b := len(f.offset) + 1
	a.SetSym(b, b, a.At(b, b)+f.variance()/(blurSpread*blurSpread))
	for i := range n {
		a.SetSym(i, i, a.At(i, i)*(1+1e-10)+1e-12)
	}
	var inv mat.SymDense
	var ch mat.Cholesky
	f.cov = nil
	if !ch.Factorize(a) || ch.InverseTo(&inv) != nil {
		return
	}
	// How each pixel moves each offset.
	no := len(f.offset)
	pull := make([][]float64, no)
	for i := range no {
		pull[i] = make([]float64, len(samples))
		for j := range n {
			axpy(inv.At(i, j), cols[j], pull[i])
		}
	}
	f.cov = mat.NewSymDense(no, nil)
	for j := range no {
		with := f.noise.spread(r, samples, in, pull[j])
		for i := 0; i <= j; i++ {
			f.cov.SetSym(i, j, f.variance()*dot(pull[i], with))
		}
	}
}

// offsetAt gives the axis' place across the line at s and its variance, px and
// px^2; beyond the ends by the last piece.
func (f *shaft) offsetAt(s float64) (offset, variance float64) {
	i, w := hat(f.knots, s)
	offset = f.offset[i]*(1-w) + f.offset[i+1]*w
	if f.cov != nil {
		variance = (1-w)*(1-w)*f.cov.At(i, i) + 2*w*(1-w)*f.cov.At(i, i+1) + w*w*f.cov.At(i+1, i+1)
	}
	return offset, variance
}
