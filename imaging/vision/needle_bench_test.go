package vision

import (
	"math"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// filmScene is a needle on a film of 1024 x 1024 pixels.
func filmScene() (rodScene, Picture) {
	c := rodScene{side: 1024, tip: r2.Vec{X: 601.3, Y: 560.8}, angle: 0.6, length: 400, width: 5.8, kind: bevel, ground: 9, turn: 0.4, blur: 1.1}
	c.depth = 8 * 20
	return c, c.clean().noisy(20, 0.5, 1)
}

// clickOn is a click beside the shaft, back pixels behind the tip.
func (c rodScene) clickOn(back, beside float64) assist.Point {
	dir := r2.Vec{X: math.Cos(c.angle), Y: math.Sin(c.angle)}
	return assist.Point(r2.Add(r2.Add(c.tip, r2.Scale(-back, dir)), r2.Scale(beside, across(dir))))
}

// processorTime this process has used, whatever else the machine does.
func processorTime() time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// One suggestion on a film of 1024 x 1024, once the program runs.
func BenchmarkNeedle(b *testing.B) {
	c, p := filmScene()
	before := processorTime()
	defer func() { b.ReportMetric((processorTime()-before).Seconds()*1e3/float64(b.N), "cpu-ms/op") }()
	for b.Loop() {
		_, why, err := p.needle([]assist.Point{c.clickOn(40, 3)}, nil, []pointKind{blunt, bevel, cone})
		if why != "" || err != nil {
			b.Fatal(why, err)
		}
	}
}
