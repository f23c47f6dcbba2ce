package vision

import (
	"math"
	"testing"

	"leadline/imaging/assist"
)

// Noise falls to less than half while an edge of 600 keeps its height; the answer
// carries its flag; no OpenCV matrix stays open.
func TestEnhance(t *testing.T) {
	p := plain(func(x float64) float64 { return 1000 + 600*normalCDF((x-128)/1.5) }, 30, 5)
	q := assist.Request{Kind: assist.Enhance, Columns: 256, Rows: 256, Frames: 1, BitsStored: 12}
	before := held.Load()
	for _, way := range []string{smoothNoise, localContrast} {
		q.Options = map[string]string{"way": way}
		a, out, err := answerEnhance(q, []Picture{p})
		if err != nil || !a.Enhanced || len(out) != 256*256 || len(a.Notes) == 0 {
			t.Fatalf("%s: %v, %v, %d pixels", way, err, a, len(out))
		}
		if way == localContrast {
			continue
		}
		side := func(from, to int) (mean, sd float64) {
			n := 0.0
			for y := 20; y < 230; y++ {
				for x := from; x < to; x++ {
					v := float64(out[y*256+x])
					mean, sd, n = mean+v, sd+v*v, n+1
				}
			}
			mean /= n
			return mean, math.Sqrt(sd/n - mean*mean)
		}
		low, a1 := side(20, 115)
		high, _ := side(141, 236)
		if a1 > 15 || math.Abs(high-low-600) > 10 {
			t.Errorf("noise %.1f, edge %.0f", a1, high-low)
		}
	}
	if held.Load() != before {
		t.Errorf("%d matrices stay open", held.Load()-before)
	}
	q.Options = map[string]string{"way": "magic"}
	if _, _, err := answerEnhance(q, []Picture{p}); err == nil {
		t.Error("an unknown way is taken")
	}
}
