package curve

import "gonum.org/v1/gonum/spatial/r2"

// Order gives the indices of points along the shortest open path through all
// of them, found by growing a path to the nearest neighbour from each start and
// mending it by reversals until no reversal shortens it (2-opt). For points
// marked along a smooth line that is the line's own order, whatever the order
// of marking. Of the two directions the one that starts at the smaller index is
// returned, so that points already in order stay as they are.
func Order(points []r2.Vec) []int {
	n := len(points)
	best := make([]int, n)
	for i := range best {
		best[i] = i
	}
	if n < 3 {
		return best
	}
	dist := func(i, j int) float64 { return r2.Norm(r2.Sub(points[i], points[j])) }
	length := func(p []int) (l float64) {
		for i := 1; i < n; i++ {
			l += dist(p[i-1], p[i])
		}
		return l
	}
	// The order given is tried first: a drawn line is nearly always in order.
	mend(best, dist)
	shortest := length(best)
	path, used := make([]int, 0, n), make([]bool, n)
	for start := 0; start < n; start++ {
		path = append(path[:0], start)
		clear(used)
		used[start] = true
		for len(path) < n {
			last, next := path[len(path)-1], -1
			for j := range points {
				if !used[j] && (next < 0 || dist(last, j) < dist(last, next)) {
					next = j
				}
			}
			used[next] = true
			path = append(path, next)
		}
		mend(path, dist)
		if l := length(path); l < shortest*(1-1e-12) {
			shortest = l
			copy(best, path)
		}
	}
	if best[0] > best[n-1] {
		reverse(best)
	}
	return best
}

// mend reverses stretches of an open path while that shortens it.
func mend(p []int, dist func(i, j int) float64) {
	n := len(p)
	for again := true; again; {
		again = false
		for i := 0; i < n-1; i++ {
			for j := i + 1; j < n; j++ {
				var was, would float64
				if i > 0 {
					was += dist(p[i-1], p[i])
					would += dist(p[i-1], p[j])
				}
				if j < n-1 {
					was += dist(p[j], p[j+1])
					would += dist(p[i], p[j+1])
				}
				if would < was-1e-12 {
					reverse(p[i : j+1])
					again = true
				}
			}
		}
	}
}

func reverse(p []int) {
	for i, j := 0, len(p)-1; i < j; i, j = i+1, j-1 {
		p[i], p[j] = p[j], p[i]
	}
}

// Arrange gives points in the order of the indices.
func Arrange(points []r2.Vec, order []int) []r2.Vec {
	out := make([]r2.Vec, len(order))
	for i, k := range order {
		out[i] = points[k]
	}
	return out
}
