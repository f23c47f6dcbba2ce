package main

import (
	"fmt"
	"io"
	"os"
	"os/signal"
	"sync"
	"syscall"
)

// unfinished holds the temporary folders of outputs under way. Its lock is held
// during short writes, so that an interrupt comes before or after them.
var unfinished struct {
	sync.Mutex
	paths []string
}

// whileUnfinished registers a temporary folder until the returned function is
// called, which removes it where it still stands.
func whileUnfinished(path string) (finish func()) {
	unfinished.Lock()
	defer unfinished.Unlock()
	unfinished.paths = append(unfinished.paths, path)
	return func() { os.RemoveAll(path) }
}

// uninterrupted carries out a short write that an interrupt waits for.
func uninterrupted(write func() error) error {
	unfinished.Lock()
	defer unfinished.Unlock()
	return write()
}

// stopOnInterrupt ends the program on Ctrl-C or a request to terminate, and
// leaves nothing half-written.
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
