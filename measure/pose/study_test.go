package pose

import (
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// studied is how many cases a study draws: enough here to see a wrong formula,
// in full with LEADLINE_STUDY=1.
func studied(short int) int {
	if os.Getenv("LEADLINE_STUDY") == "1" {
		return 2000
	}
	return short
}

// tally of errors against stated standard deviations.
type tally struct {
	n, held int
	square  float64
	stated  float64
}

func (s *tally) add(err, sd float64) {
	s.n++
	s.square += err * err
	s.stated += sd * sd
	if math.Abs(err) <= 1.96*sd {
		s.held++
	}
}

func (s tally) rms() float64   { return math.Sqrt(s.square / float64(s.n)) }
func (s tally) share() float64 { return float64(s.held) / float64(s.n) }

// many runs cases 0 to n-1 on all cores; a case's draws depend on its number
// alone.
func many(n int, run func(i int, rng *rand.Rand)) {
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				run(i, rand.New(rand.NewPCG(uint64(i), 20)))
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	group.Wait()
}

// within is how far, by chance alone, a share of 95 % of n may be off: 3.3
// standard errors, one in a thousand.
func within(n int) float64 { return 3.3 * math.Sqrt(0.95*0.05/float64(n)) }

// logScale of a view at a point, as truth and as a solution have it.
func (s scene) logScale(v View, view, point int) float64 {
	return logScale(v, s.settings[view], s.points[point])
}

func logScale(v View, settings [kinds]float64, p r3.Vec) float64 {
	b := bodyOf(v.Nominal)
	st := b.at(&settings)
	var at seen
	st.project(p, &at)
	return math.Log(at.depth / st.fx)
}

// How the scale of the lateral view, in which depth is read, is found with no
// geometry in the header: angles anywhere within 5 degrees on each axis (standard
// deviation 5/sqrt 3, JCGM 100 4.3.7), distances within 10 % and the second view
// shifted by 20 mm (standard deviations), the central beam within 5 px of the
// middle, marks of 0.5 px. The harder rows have angles of 5 degrees standard
// deviation; no limit is set for them.
func TestScaleWithoutHeader(t *testing.T) {
	n := studied(200)
	names, points := needles()
	contacts := func(in *Input) {
		for i := range 3 {
			in.Lengths = append(in.Lengths, Length{A: len(in.Points) - 4 + i, B: len(in.Points) - 3 + i, MM: 6, SD: 0.02})
		}
	}
	needle := func(in *Input) {
		contacts(in)
		in.Lengths = append(in.Lengths, Length{A: 0, B: 1, MM: 90, SD: 0.2})
	}
	for _, c := range []struct {
		name    string
		from    int // points used
		known   func(*Input)
		uniform bool
		limit   float64 // RMS, relative
	}{
		{"four contacts of known spacing", 4, contacts, true, 0.05},
		{"and both needles' ends", 0, contacts, true, 0.02},
		{"and a known needle length", 0, needle, true, 0.007},
		{"harder: four contacts", 4, contacts, false, 0},
		{"harder: and both needles' ends", 0, contacts, false, 0},
		{"harder: and a known needle length", 0, needle, false, 0},
	} {
		const lateral = 1
		var mu sync.Mutex
		var scale, shape, trials tally
		var chi float64
		refused := 0
		many(n, func(i int, rng *rand.Rand) {
			in := Input{Views: []View{loose("frontal", t, 0, true), loose("lateral", t, 90, false)}, Points: names[c.from:], ScaleLimit: 0.2}
			s := scene{points: points[c.from:]}
			for v := range in.Views {
				if c.uniform {
					u := 5 / math.Sqrt(3)
					in.Views[v].Turn = [3]float64{u, u, u}
				}
				d := drawn(rng, in.Views[v])
				for k := TurnLong; c.uniform && k <= TurnBeam; k++ {
					d[k] = 10*rng.Float64() - 5
				}
				s.settings = append(s.settings, d)
			}
			film(t, rng, &in, s, 0.5)
			c.known(&in)
			for l := range in.Lengths {
				in.Lengths[l].MM += in.Lengths[l].SD * rng.NormFloat64()
			}
			f, err := Adjust(in)
			if err != nil {
				mu.Lock()
				refused++
				mu.Unlock()
				return
			}
			p := len(s.points) - 2
			truth := s.logScale(in.Views[lateral], lateral, p)
			column, _, relative := f.Scale(lateral, p)
			// A length that is not told: from the first point to the last.
			long := func(s []r3.Vec) float64 { return math.Log(r3.Norm(r3.Sub(s[0], s[len(s)-1]))) }
			e, err := f.Effects(func(s Solution) []float64 { return []float64{long(s.Points)} })
			if err != nil {
				t.Error(err)
				return
			}
			sd := 0.0
			for _, u := range e[0] {
				sd = math.Hypot(sd, u)
			}
			// Trials are dear: for some of the cases that bend most.
			lo, hi, tried := 0.0, 0.0, false
			if c.from > 0 && n == 2000 && i < 600 {
				lo, hi, tried = f.Trials(200, uint64(i), func(s Solution) []float64 {
					return []float64{logScale(in.Views[lateral], s.Settings[lateral], s.Points[p])}
				})[0].Interval()
			}
			mu.Lock()
			defer mu.Unlock()
			scale.add(math.Log(column)-truth, relative)
			shape.add(long(f.Points)-long(s.points), sd)
			if tried {
				trials.n++
				if lo <= truth && truth <= hi {
					trials.held++
				}
			}
			x, k := f.ChiSquare()
			chi += x / float64(k)
		})
		if refused > n/50 {
			t.Errorf("%s: %d of %d refused", c.name, refused, n)
		}
		t.Logf("%-34s scale %.2f %% RMS (stated %.2f %%), intervals hold %.1f %%; a length %.2f %% RMS, hold %.1f %%; chi-square per degree %.3f; %d refused",
			c.name, 100*scale.rms(), 100*math.Sqrt(scale.stated/float64(scale.n)), 100*scale.share(),
			100*shape.rms(), 100*shape.share(), chi/float64(n-refused), refused)
		if trials.n > 0 {
			t.Logf("%-34s intervals by 200 trials each hold %.1f %% of %d", "", 100*trials.share(), trials.n)
		}
		if c.limit == 0 {
			continue
		}
		if scale.rms() > c.limit {
			t.Errorf("%s: scale %.2f %% RMS, more than %.1f %%", c.name, 100*scale.rms(), 100*c.limit)
		}
		for what, s := range map[string]tally{"scale": scale, "length": shape, "scale by trials": trials} {
			if s.n > 0 && math.Abs(s.share()-0.95) > math.Max(0.02, within(s.n)) {
				t.Errorf("%s: intervals of the %s hold %.1f %% of %d", c.name, what, 100*s.share(), s.n)
			}
		}
	}
}
