package grayscale

import (
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

// Auto is a window for the frame from its histogram: from the 0.5 to the 99.5
// percentile of its values in modality units, without padding and without the
// heaps that shutters and direct exposure leave at either end.
func Auto(f *imaging.Frame, m *Map) imaging.Window {
	counts := make([]int, 1<<m.h.BitsStored)
	for _, s := range f.Samples {
		if int(s) < len(counts) {
			counts[s]++
		}
	}
	type bin struct {
		value float64
		count int
	}
	var bins []bin
	for i, n := range counts {
		if stored := m.h.StoredValue(uint16(i)); n > 0 && !m.Padding(stored) {
			bins = append(bins, bin{m.Modality(stored), n})
		}
	}
	slices.SortStableFunc(bins, func(a, b bin) int {
		switch {
		case a.value < b.value:
			return -1
		case a.value > b.value:
			return 1
		}
		return 0
	})
	total := func() (n int) {
		for _, b := range bins {
			n += b.count
		}
		return n
	}
	all := float64(total())
	if len(bins) > 2 && float64(bins[0].count) > autoHeap*all {
		bins = bins[1:]
	}
	if len(bins) > 2 && float64(bins[len(bins)-1].count) > autoHeap*all {
		bins = bins[:len(bins)-1]
	}
	if len(bins) == 0 {
		return m.Windows()[0]
	}
	cut := autoTail * float64(total())
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
