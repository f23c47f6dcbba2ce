package main

import (
	"errors"
	"fmt"
	"io/fs"

	"leadline/imaging"
)

// Exit codes.
const (
	exitDone        = 0
	exitFailed      = 1 // the machine or the program failed
	exitBadInput    = 2 // what was given cannot be used
	exitInterrupted = 130
)

// fault is an error whose line says everything itself; kind is for errors.Is.
type fault struct {
	line string
	kind error
}

func (f fault) Error() string { return f.line }
func (f fault) Unwrap() error { return f.kind }

func badInput(format string, a ...any) error {
	return fault{fmt.Sprintf(format, a...), imaging.ErrBadInput}
}

// exitCode tells what a person gave wrongly from what failed under way.
func exitCode(err error) int {
	for _, kind := range []error{
		imaging.ErrNotDICOM, imaging.ErrUnsupported, imaging.ErrDamaged,
		imaging.ErrNoScale, imaging.ErrBadInput, imaging.ErrConflict, imaging.ErrInUse, fs.ErrNotExist,
	} {
		if errors.Is(err, kind) {
			return exitBadInput
		}
	}
	return exitFailed
}
