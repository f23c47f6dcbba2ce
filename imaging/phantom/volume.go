package phantom

import (
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// volume holds what bone and gas add to soft tissue's attenuation, on a cubic
// grid. Sample i, j, k lies at low + voxel * (i, j, k).
type volume struct {
	low        r3.Vec
	high       r3.Vec // of the last samples
	nx, ny, nz int
	samples    []int16 // in attenuationStep; x runs fastest
}

const (
	voxel           = 0.5  // mm
	attenuationStep = 2e-4 // 1/cm
	marchStep       = 0.6  // mm between samples of a ray
)

// Corners of the grid that holds all bone in the field, in patient mm.
var (
	volumeLow  = r3.Vec{X: -104, Y: -112, Z: -98}
	volumeHigh = r3.Vec{X: 104, Y: 46, Z: 98}
)

// newVolume samples the anatomy and the gas before it from corner low to high.
func newVolume(a *anatomy, low, high r3.Vec, advance func(part float64)) *volume {
	count := func(low, high float64) int { return int(math.Round((high-low)/voxel)) + 1 }
	v := &volume{
		low: low,
		nx:  count(low.X, high.X),
		ny:  count(low.Y, high.Y),
		nz:  count(low.Z, high.Z),
	}
	v.high = r3.Add(low, r3.Vec{X: voxel * float64(v.nx-1), Y: voxel * float64(v.ny-1), Z: voxel * float64(v.nz-1)})
	v.samples = make([]int16, v.nx*v.ny*v.nz)
	bone := boneAttenuation - softAttenuation
	inParallel(v.nz, advance, func(k int) {
		z := low.Z + voxel*float64(k)
		for j := range v.ny {
			y := low.Y + voxel*float64(j)
			c := a.column(y, z)
			row := v.samples[(k*v.ny+j)*v.nx:][:v.nx]
			gassy := gasNear(y, z)
			for i := range row {
				x := low.X + voxel*float64(i)
				mu := bone * a.fraction(&c, x)
				if mu == 0 && gassy {
					mu = -softAttenuation * gasAt(x, y, z, a.grain)
				}
				row[i] = int16(math.Round(mu / attenuationStep))
			}
		}
	})
	return v
}

// integral of the grid's attenuation along the ray, dimensionless.
func (v *volume) integral(origin, direction r3.Vec) float64 {
	enter, leave := 0.0, math.Inf(1)
	slab := func(o, d, low, high float64) {
		if d == 0 {
			if o < low || o > high {
				leave = -1
			}
			return
		}
		a, b := (low-o)/d, (high-o)/d
		enter, leave = max(enter, min(a, b)), min(leave, max(a, b))
	}
	slab(origin.X, direction.X, v.low.X, v.high.X)
	slab(origin.Y, direction.Y, v.low.Y, v.high.Y)
	slab(origin.Z, direction.Z, v.low.Z, v.high.Z)
	if leave <= enter {
		return 0
	}
	n := int((leave - enter) / marchStep)
	x := float32((origin.X + enter*direction.X - v.low.X) / voxel)
	y := float32((origin.Y + enter*direction.Y - v.low.Y) / voxel)
	z := float32((origin.Z + enter*direction.Z - v.low.Z) / voxel)
	dx, dy, dz := float32(direction.X*marchStep/voxel), float32(direction.Y*marchStep/voxel), float32(direction.Z*marchStep/voxel)
	sum := float32(0)
	nx, plane := v.nx, v.nx*v.ny
	for step := range n {
		t := float32(step) + 0.5
		px, py, pz := x+t*dx, y+t*dy, z+t*dz
		i, j, k := int(px), int(py), int(pz)
		if i < 0 || j < 0 || k < 0 || i >= v.nx-1 || j >= v.ny-1 || k >= v.nz-1 {
			continue
		}
		s := v.samples[(k*v.ny+j)*nx+i:]
		a00, a10 := int32(s[0]), int32(s[1])
		a01, a11 := int32(s[nx]), int32(s[nx+1])
		b00, b10 := int32(s[plane]), int32(s[plane+1])
		b01, b11 := int32(s[plane+nx]), int32(s[plane+nx+1])
		if a00|a10|a01|a11|b00|b10|b01|b11 == 0 {
			continue
		}
		fx, fy, fz := px-float32(i), py-float32(j), pz-float32(k)
		c00, c01 := float32(a00)+fx*float32(a10-a00), float32(a01)+fx*float32(a11-a01)
		d00, d01 := float32(b00)+fx*float32(b10-b00), float32(b01)+fx*float32(b11-b01)
		c, d := c00+fy*(c01-c00), d00+fy*(d01-d00)
		sum += c + fz*(d-c)
	}
	return float64(sum) * attenuationStep * marchStep / 10
}

// inParallel runs work(0..n-1) on all processors and tells advance how far it is,
// from one goroutine at a time.
func inParallel(n int, advance func(part float64), work func(i int)) {
	var (
		wg   sync.WaitGroup
		mu   sync.Mutex
		next int
		done int
	)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= n {
					return
				}
				work(i)
				mu.Lock()
				done++
				advance(float64(done) / float64(n))
				mu.Unlock()
			}
		})
	}
	wg.Wait()
}
