package quantity

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Spread is what a Monte Carlo run found.
type Spread struct {
	Mean, SD float64
	Lo, Hi   float64 // 2.5 and 97.5 percentiles
	Failed   int     // trials in which the model gave no value
}

// MonteCarlo propagates distributions by JCGM 101:2008: n times it draws each
// input from a normal distribution of mean x[i] and standard deviation u[i] and
// evaluates the model, which may say that it has no value. The same seed gives
// the same draws.
func MonteCarlo(x, u []float64, n int, seed uint64, model func(x []float64) (float64, bool)) Spread {
	rng := rand.New(rand.NewPCG(seed, 0x6c65616c))
	draw := make([]float64, len(x))
	out := make([]float64, 0, n)
	var s Spread
	for range n {
		for i := range x {
			draw[i] = x[i] + u[i]*rng.NormFloat64()
		}
		y, ok := model(draw)
		if !ok {
			s.Failed++
			continue
		}
		out = append(out, y)
	}
	if len(out) < 2 {
		return s
	}
	for _, y := range out {
		s.Mean += y
	}
	s.Mean /= float64(len(out))
	for _, y := range out {
		s.SD += (y - s.Mean) * (y - s.Mean)
	}
	s.SD = math.Sqrt(s.SD / float64(len(out)-1))
	slices.Sort(out)
	at := func(p float64) float64 { return out[int(math.Round(p*float64(len(out)-1)))] }
	s.Lo, s.Hi = at(0.025), at(0.975)
	return s
}
