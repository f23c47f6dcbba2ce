package phantom

import "testing"

// The whole practice case, as `leadline demo` makes it.
func BenchmarkPractice(b *testing.B) {
	for b.Loop() {
		if _, err := Practice(b.TempDir(), nil); err != nil {
			b.Fatal(err)
		}
	}
}
