package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// region is a part of a picture, or what a filter made of it. A sample's centre
// lies at x0 + (i+0.5)*step, y0 + (j+0.5)*step in SR pixels.
type region struct {
	x0, y0, step  float64
	width, height int
	v             []float32
}

func newRegion(x0, y0, step float64, width, height int) *region {
	return &region{x0, y0, step, width, height, make([]float32, width*height)}
}

// cut takes columns x0 to x1 and rows y0 to y1 out of a picture, as far as they
// lie in it.
func (p Picture) cut(x0, y0, x1, y1 int) *region {
	x0, y0, x1, y1 = max(0, x0), max(0, y0), min(p.Columns, x1), min(p.Rows, y1)
	out := newRegion(float64(x0), float64(y0), 1, max(0, x1-x0), max(0, y1-y0))
	for j := range out.height {
		copy(out.v[j*out.width:][:out.width], p.V[(y0+j)*p.Columns+x0:])
	}
	return out
}

// halved is p with means of two by two samples.
func (p *region) halved() *region {
	out := newRegion(p.x0, p.y0, 2*p.step, p.width/2, p.height/2)
	for j := range out.height {
		a, b := p.v[2*j*p.width:], p.v[(2*j+1)*p.width:]
		for i := range out.width {
			out.v[j*out.width+i] = (a[2*i] + a[2*i+1] + b[2*i] + b[2*i+1]) / 4
		}
	}
	return out
}

// index of the sample nearest an SR point, clamped to the region.
func (p *region) index(at r2.Vec) (i, j int) {
	return max(0, min(p.width-1, int(math.Floor((at.X-p.x0)/p.step)))), max(0, min(p.height-1, int(math.Floor((at.Y-p.y0)/p.step))))
}

// centre of sample i, j in SR pixels.
func (p *region) centre(i, j int) r2.Vec {
	return r2.Vec{X: p.x0 + (float64(i)+0.5)*p.step, Y: p.y0 + (float64(j)+0.5)*p.step}
}

// at is the value at an SR point, by cubic convolution with a = -1/2 (Keys,
// IEEE Trans ASSP 1981;29:1153-1160); beyond the region its edge goes on.
func (p *region) at(q r2.Vec) float64 {
	x, y := (q.X-p.x0)/p.step-0.5, (q.Y-p.y0)/p.step-0.5
	fx, fy := math.Floor(x), math.Floor(y)
	wx, wy := keys(x-fx), keys(y-fy)
	i0, j0 := int(fx)-1, int(fy)-1
	sum := 0.0
	if i0 >= 0 && j0 >= 0 && i0+3 < p.width && j0+3 < p.height {
		for j, w := range wy {
			row := p.v[(j0+j)*p.width+i0:][:4]
			sum += w * (wx[0]*float64(row[0]) + wx[1]*float64(row[1]) + wx[2]*float64(row[2]) + wx[3]*float64(row[3]))
		}
		return sum
	}
	for j, v := range wy {
		row := p.v[max(0, min(p.height-1, j0+j))*p.width:]
		for i, w := range wx {
			sum += v * w * float64(row[max(0, min(p.width-1, i0+i))])
		}
	}
	return sum
}

// keys gives the weights of the four samples about a place t after the second.
func keys(t float64) [4]float64 {
	t2, t3 := t*t, t*t*t
	return [4]float64{(-t + 2*t2 - t3) / 2, (2 - 5*t2 + 3*t3) / 2, (t + 4*t2 - 3*t3) / 2, (t3 - t2) / 2}
}

// gaussian gives a kernel of sigma samples and its first and second derivative,
// each scaled so that they answer 1, x and x²/2 exactly.
func gaussian(sigma float64) (smooth, first, second []float32) {
	reach := int(math.Ceil(3 * sigma))
	n := 2*reach + 1
	g, d, dd := make([]float64, n), make([]float64, n), make([]float64, n)
	var sum, slope, mean, bend float64
	for i := range n {
		x := float64(i - reach)
		g[i] = math.Exp(-x * x / (2 * sigma * sigma))
		sum += g[i]
		d[i] = x * g[i]
		slope += x * x * g[i]
	}
	for i := range n {
		x := float64(i - reach)
		g[i] /= sum
		d[i] /= slope
		dd[i] = (x*x/(sigma*sigma) - 1) * g[i]
		mean += dd[i] / float64(n)
	}
	for i := range n {
		x := float64(i - reach)
		dd[i] -= mean
		bend += dd[i] * x * x / 2
	}
	for i := range n {
		smooth = append(smooth, float32(g[i]))
		first = append(first, float32(d[i]))
		second = append(second, float32(dd[i]/bend))
	}
	return smooth, first, second
}

// rows is p correlated with a kernel of odd length along its rows; the region's
// edge goes on beyond it.
func (p *region) rows(kernel []float32) *region {
	out := newRegion(p.x0, p.y0, p.step, p.width, p.height)
	reach := len(kernel) / 2
	padded := make([]float32, p.width+2*reach)
	for j := range p.height {
		row := p.v[j*p.width:][:p.width]
		copy(padded[reach:], row)
		for i := range reach {
			padded[i], padded[reach+p.width+i] = row[0], row[p.width-1]
		}
		to := out.v[j*p.width:][:p.width]
		for k, w := range kernel {
			for i, v := range padded[k:][:p.width] {
				to[i] += w * v
			}
		}
	}
	return out
}

// columns is the same down its columns.
func (p *region) columns(kernel []float32) *region {
	out := newRegion(p.x0, p.y0, p.step, p.width, p.height)
	reach := len(kernel) / 2
	for j := range p.height {
		to := out.v[j*p.width:][:p.width]
		for k, w := range kernel {
			from := p.v[max(0, min(p.height-1, j+k-reach))*p.width:][:p.width]
			for i, v := range from {
				to[i] += w * v
			}
		}
	}
	return out
}

// gradient of a region by Gaussian derivatives, a unit of the region's samples.
type gradient struct{ x, y *region }

func (p *region) gradient(sigma float64) gradient {
	g, d, _ := gaussian(sigma)
	return gradient{p.rows(d).columns(g), p.rows(g).columns(d)}
}
