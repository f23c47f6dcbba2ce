package main

import (
	"fmt"
	"os"
	"reflect"

	"leadline/measure/mark"
)

// readMarks reads a marks file against the films of the case.
func (r *reader) readMarks(path string) ([]mark.Mark, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	marks, err := mark.ReadCSV(f, r.header)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return marks, nil
}

// sameMarks compares what a CSV row holds; tracking identifiers and histories
// are not in it.
func sameMarks(a, b []mark.Mark) bool {
	bare := func(in []mark.Mark) []mark.Mark {
		out := make([]mark.Mark, len(in))
		for i, m := range in {
			m.UID, m.History = "", nil
			out[i] = m
		}
		return out
	}
	return reflect.DeepEqual(bare(a), bare(b))
}
