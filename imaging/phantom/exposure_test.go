package phantom

import (
	"math"
	"testing"
)

// A lead's contacts leave their shadow where the camera puts their centres: the
// centroid of what the lead takes away, weighted by attenuation, is compared
// with the projection of a straight lead's middle contact.
func TestLeadShadow(t *testing.T) {
	b, err := Empty(Direction{Primary: 90})
	if err != nil {
		t.Fatal(err)
	}
	var l Lead
	for s := 0.0; s <= 20; s += 0.25 {
		l.Path = append(l.Path, Point{10, -20 + 0.6*s, 5 + 0.8*s})
	}
	l.Contacts = []Contact{{8, 11}}
	film := newPlate(filmSide)
	l.cast(b.camera, film)
	var sum, x, y float64
	for j := range filmSide {
		for i := range filmSide {
			// Half of what the ring stops: pixels it covers by half or more.
			if v := film.v[j*filmSide+i]; v > 0.6 {
				sum, x, y = sum+1, x+float64(i)+0.5, y+float64(j)+0.5
			}
		}
	}
	want, _ := b.Project(l.at(9.5))
	if d := math.Hypot(x/sum-want.X, y/sum-want.Y); !(d < 0.15) {
		t.Errorf("the contact's shadow lies %.2f px off its centre", d)
	}
	// 3 mm by 1.27 mm, magnified by 1000 / (700 + 10), on pixels of 0.225 mm.
	area := 3 * 1.27 * math.Pow(1000/710.0/0.225, 2)
	if math.Abs(sum/area-1) > 0.08 {
		t.Errorf("the shadow covers %.0f px, the ring %.0f", sum, area)
	}
	// Through the middle, steel-like wall twice: 2 * 0.1 mm of platinum at
	// about 94 /cm and the coil.
	if v := film.v[int(want.Y)*filmSide+int(want.X)]; v < 1.7 || v > 2.8 {
		t.Errorf("attenuation in the middle of the ring %.2f", v)
	}
}

// Noise follows the photons: a quarter of them doubles it (Poisson statistics).
func TestExposureNoise(t *testing.T) {
	b, err := Empty(Direction{})
	if err != nil {
		t.Fatal(err)
	}
	spread := func(q float64) float64 {
		one, two := b.Film(Exposure{Quanta: q, Seed: 1}), b.Film(Exposure{Quanta: q, Seed: 2})
		var n, ss float64
		for y := 400; y < 600; y++ {
			for x := 400; x < 600; x++ {
				d := float64(one.Value(x, y) - two.Value(x, y))
				n, ss = n+1, ss+d*d/2
			}
		}
		return math.Sqrt(ss / n)
	}
	if r := spread(400) / spread(1600); math.Abs(r-2) > 0.1 {
		t.Errorf("a quarter of the photons makes the noise %.2f times as large", r)
	}
}
