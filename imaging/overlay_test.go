package imaging

import "testing"

// Bits of an overlay lie lowest first, and rows follow each other without
// padding (PS3.5 8.1.2 and its figure); the plane of 3 by 3 has a cross.
func TestOverlayAt(t *testing.T) {
	o := Overlay{Columns: 3, Rows: 3, Left: -1, Top: 1, Bits: []byte{0b10111010, 0}} // .X. XXX .X.
	want := []string{                                                                // of a frame of 3 by 4: the plane's first column lies outside
		"...",
		"X..",
		"XX.",
		"X..",
	}
	m := o.Mask(3, 4)
	for y, row := range want {
		for x := range row {
			on := row[x] == 'X'
			if o.At(x, y) != on || (m.AlphaAt(x, y).A == 255) != on {
				t.Errorf("at %d,%d: %v, mask %d", x, y, o.At(x, y), m.AlphaAt(x, y).A)
			}
		}
	}
	if o.At(0, 9) || (&Overlay{Columns: 3, Rows: 3}).At(2, 2) {
		t.Error("a pixel that is not there is marked")
	}
}
