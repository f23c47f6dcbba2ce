package pose

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"leadline/imaging"
)

// Refit adjusts again with each source's datum displaced by shift (in the
// source's own unit, in the order of Sources), starting from this solution: a
// trial of a Monte Carlo run (JCGM 101), whose draws have the sources' standard
// deviations. It may be called from several goroutines at once.
func (f *Fit) Refit(shift []float64) (Solution, error) {
	if len(shift) != len(f.sources) || !finite(shift...) {
		return Solution{}, fmt.Errorf("%w: a trial needs a displacement for each of the %d sources", imaging.ErrBadInput, len(f.sources))
	}
	w, _ := f.room.Get().(*work)
	if w == nil {
		w = newWork(f.system)
	}
	defer f.room.Put(w)
	x := append([]float64(nil), f.x...)
	if err := w.descend(x, shift, refitted); err != nil {
		return Solution{}, err
	}
	return f.solution(x)
}

// Trials is what a Monte Carlo run found of one value.
type Trials struct {
	Sorted []float64 // the value in each trial that had one, ascending
	Failed int       // trials that did not settle or had none
}

// Interval is the 95 % coverage interval with as many trials below it as above
// (JCGM 101, 7.7). ok is false for fewer than 100 trials.
func (t Trials) Interval() (lo, hi float64, ok bool) {
	m := len(t.Sorted)
	if m < 100 {
		return 0, 0, false
	}
	r := (m + 39) / 40 // 2.5 % of them
	return t.Sorted[r-1], t.Sorted[m-r], true
}

// Trials runs n trials (JCGM 101, 7): each draws every source from a normal
// distribution, adjusts again and has estimate compute its values from that. The
// same seed gives the same trials, on any number of cores. Where lengths are
// known far better than angles, foreshortening makes the model bend, and the
// interval of the trials holds the truth as often as it says while the linear
// one of Effects holds it less.
func (f *Fit) Trials(n int, seed uint64, estimate func(Solution) []float64) []Trials {
	found := make([][]float64, n)
	var group sync.WaitGroup
	var taken atomic.Int64
	take := func() int { return int(taken.Add(1)) - 1 }
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			shift := make([]float64, len(f.sources))
			for i := take(); i < n; i = take() {
				rng := rand.New(rand.NewPCG(seed, uint64(i)))
				for k, s := range f.sources {
					shift[k] = s.SD * rng.NormFloat64()
				}
				if s, err := f.Refit(shift); err == nil {
					found[i] = estimate(s)
				}
			}
		})
	}
	group.Wait()
	out := make([]Trials, len(estimate(f.Solution)))
	for i := range out {
		for _, v := range found {
			if i < len(v) && finite(v[i]) {
				out[i].Sorted = append(out[i].Sorted, v[i])
			} else {
				out[i].Failed++
			}
		}
		slices.Sort(out[i].Sorted)
	}
	return out
}
