package main

import (
	"fmt"
	"io"
	"time"
)

// newProgress says on w how far a longer piece of work has come: nothing in the
// first second, then a line for each further tenth, at most one a second.
func newProgress(w io.Writer, what string) func(done, total int) {
	last, said := time.Now(), 0
	return func(done, total int) {
		if time.Since(last) < time.Second || 10*(done-said) < total {
			return
		}
		last, said = time.Now(), done
		fmt.Fprintf(w, "%s: %d of %d\n", what, done, total)
	}
}
