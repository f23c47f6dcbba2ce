package codec

// tagTree is that of T.800 B.10.2.
type tagTree struct {
	levels []tagLevel // the leaves first
}

type tagLevel struct {
	wide  int
	nodes []tagNode
}

type tagNode struct {
	low   int
	known bool
}

func newTagTree(w, h int) tagTree {
	var t tagTree
	for {
		t.levels = append(t.levels, tagLevel{w, make([]tagNode, w*h)})
		if w <= 1 && h <= 1 {
			return t
		}
		w, h = (w+1)/2, (h+1)/2
	}
}

// below reads on until it is known whether the value of the leaf is below a
// bound.
func (t *tagTree) below(r *packetReader, x, y, bound int) bool {
	low := 0
	for i := len(t.levels) - 1; i >= 0; i-- {
		l := &t.levels[i]
		n := &l.nodes[(y>>i)*l.wide+x>>i]
		n.low = max(n.low, low)
		for n.low < bound && !n.known {
			if r.over {
				return false
			}
			if r.bit() == 1 {
				n.known = true
			} else {
				n.low++
			}
		}
		low = n.low
	}
	n := &t.levels[0].nodes[y*t.levels[0].wide+x]
	return n.known && n.low < bound
}
