package main

import (
	"fmt"
	"io"
	"os"
	"os/signal"
	"sync"
	"syscall"
)

// unfinished holds the temporary folders and files of outputs under way, so
// that an interrupt leaves nothing half-written.
var unfinished struct {
	sync.Mutex
	paths []string
}

// whileUnfinished registers path until the returned function is called, which
// removes it where it still stands.
func whileUnfinished(path string) (finish func()) {
	unfinished.Lock()
	defer unfinished.Unlock()
	unfinished.paths = append(unfinished.paths, path)
	return func() { os.RemoveAll(path) }
}

// stopOnInterrupt ends the program on Ctrl-C or a request to terminate. What is
// written goes to a temporary name first and is renamed when whole, so ending
// at any moment is safe.
func stopOnInterrupt(stderr io.Writer) {
	caught := make(chan os.Signal, 1)
	signal.Notify(caught, os.Interrupt, syscall.SIGTERM)
	go func() {
		<-caught
		unfinished.Lock()
		for _, p := range unfinished.paths {
			os.RemoveAll(p)
		}
		fmt.Fprintln(stderr, "\nleadline: stopped; nothing half-written is left")
		os.Exit(exitInterrupted)
	}()
}
