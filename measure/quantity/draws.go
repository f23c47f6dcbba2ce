package quantity

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// Uniform gives n draws, evenly spread over 0 to 1, of the input named: one in
// each n-th part, in an order that is random but the same at every call. Inputs
// drawn so side by side form a Latin hypercube, whose estimates settle faster
// than those of independent draws (McKay, Beckman and Conover, Technometrics
// 1979;21(2):239-245; from memory).
func Uniform(input string, n int) []float64 {
	h := fnv.New64a()
	h.Write([]byte(input))
	rng := rand.New(rand.NewPCG(h.Sum64(), 0x6c656164))
	out := make([]float64, n)
	for i, k := range rng.Perm(n) {
		out[i] = (float64(k) + rng.Float64()) / float64(n)
	}
	return out
}

// Normal turns a draw between 0 and 1 into one of the standard normal
// distribution.
func Normal(uniform float64) float64 { return math.Sqrt2 * math.Erfinv(2*uniform-1) }
