package grayscale

import (
	"cmp"
	"math"
	"slices"

	"leadline/imaging"
)

// How Auto treats a histogram: a share of the pixels is left out at each end,
// and so is a heap at the very lowest or highest value, which stands for
// shutters or direct exposure and not for the patient.
const (
	autoTail = 0.005
	autoHeap = 0.02
)

// First is the window a frame is shown with at first, on a screen and in a
// picture alike: the first that its header states, or Auto where the header
// states none that can be used, or one that would leave most of the film wholly
// black or white.
func First(f *imaging.Frame, m *Map) imaging.Window {
	stated := m.stated()
	if len(stated) == 0 {
		return Auto(f, m)
	}
	clipped := 0
	bins := histogram(f, m)
	for _, b := range bins {
		if v := Value(stated[0], b.value); v <= 0 || v >= 1 {
			clipped += b.count
		}
	}
	if 2*clipped > pixels(bins) {
		return Auto(f, m)
	}
	return stated[0]
}

// bin of a histogram.
type bin struct {
	value float64 // modality units
	count int     // pixels
}

func pixels(bins []bin) (n int) {
	for _, b := range bins {
		n += b.count
	}
	return n
}

// histogram of a frame in rising order, without padding and without the heaps
// that shutters and direct exposure leave at either end.
func histogram(f *imaging.Frame, m *Map) []bin {
	counts := make([]int, 1<<m.h.BitsStored)
	for _, s := range f.Samples {
		if int(s) < len(counts) {
			counts[s]++
		}
	}
	var bins []bin
	for i, n := range counts {
		if stored := m.h.StoredValue(uint16(i)); n > 0 && !m.Padding(stored) {
			bins = append(bins, bin{m.Modality(stored), n})
		}
	}
	slices.SortStableFunc(bins, func(a, b bin) int { return cmp.Compare(a.value, b.value) })
	all := float64(pixels(bins))
	if len(bins) > 2 && float64(bins[0].count) > autoHeap*all {
		bins = bins[1:]
	}
	if len(bins) > 2 && float64(bins[len(bins)-1].count) > autoHeap*all {
		bins = bins[:len(bins)-1]
	}
	return bins
}

// Auto is a window for the frame from its histogram: from the 0.5 to the 99.5
// percentile of its values in modality units, without padding and without the
// heaps that shutters and direct exposure leave at either end.
func Auto(f *imaging.Frame, m *Map) imaging.Window {
	bins := histogram(f, m)
	if len(bins) == 0 {
		return m.Windows()[0]
	}
	cut := autoTail * float64(pixels(bins))
	lo, hi := bins[0].value, bins[len(bins)-1].value
	sum := 0.0
	for _, b := range bins {
		if sum += float64(b.count); sum > cut {
			lo = b.value
			break
		}
	}
	sum = 0
	for _, b := range slices.Backward(bins) {
		if sum += float64(b.count); sum > cut {
			hi = b.value
			break
		}
	}
	// Modality units need not be whole numbers: LINEAR_EXACT has no width
	// below which it fails.
	w := imaging.Window{Center: (lo + hi) / 2, Width: hi - lo, Function: imaging.LinearExact, Explanation: "from the histogram"}
	if w.Width <= 0 {
		w.Width = max(math.Abs(m.slope), 1e-9)
	}
	return w
}
