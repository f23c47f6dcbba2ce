// Command leadline-assist finds needles, contacts and margins on frames that
// leadline and leadline-view hand it. They start it; it speaks the messages of
// package assist on standard input and output, and is the only program that
// links OpenCV.
package main

import (
	"fmt"
	"os"
	"runtime/debug"

	"golang.org/x/sys/unix"

	"leadline/imaging/vision"
)

// Memory the program may take: what the Go runtime aims at, and what it may map
// in all, OpenCV and its libraries included.
const (
	aimedAt = 1 << 30
	mapped  = 8 << 30
)

func main() {
	debug.SetMemoryLimit(aimedAt)
	if err := unix.Setrlimit(unix.RLIMIT_AS, &unix.Rlimit{Cur: mapped, Max: mapped}); err != nil {
		fmt.Fprintln(os.Stderr, "leadline-assist: memory cannot be limited:", err)
		os.Exit(1)
	}
	if err := vision.Serve(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "leadline-assist:", err)
		os.Exit(1)
	}
}
