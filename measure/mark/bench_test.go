package mark_test

import (
	"bytes"
	"fmt"
	"testing"

	"leadline/measure/mark"
)

// A case of 40 positions with 50 points each.
func BenchmarkReadCSV(b *testing.B) {
	var text bytes.Buffer
	text.WriteString(head)
	for n := range 40 {
		for i := range 50 {
			fmt.Fprintf(&text, "lateral.dcm,%d,needle,S3,left,N%d,%d,%d.25,%d.5\n", n%12+1, n+1, i, 100+i, 200+2*i)
		}
	}
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		if _, err := mark.ReadCSV(bytes.NewReader(text.Bytes()), find); err != nil {
			b.Fatal(err)
		}
	}
}

// What a drag asks of side and view for each film.
func BenchmarkRead(b *testing.B) {
	g := lying(oriented(turned(angled(180, 0), 90, true), "F", "R"), "HFP")
	book := with(states(about(mark.Statement{Cranial: left})), book()...)
	for b.Loop() {
		mark.Read(film, g, book)
	}
}
