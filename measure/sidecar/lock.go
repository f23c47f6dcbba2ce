package sidecar

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"

	"leadline/imaging"
	"leadline/measure/mark"
)

const (
	suffix     = ".leadline.json"
	lockSuffix = ".leadline.lock"
)

// hold takes the lock of an observer's sidecars, an advisory lock of the
// operating system: it goes with the process that holds it, so a lock file left
// over by a crash locks nobody out.
func hold(dir, observer string) (*os.File, error) {
	path := filepath.Join(dir, mark.SafeName(observer)+lockSuffix)
	for {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
		if err != nil {
			return nil, unwritable(dir, err)
		}
		if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
			defer f.Close()
			if errors.Is(err, unix.EWOULDBLOCK) {
				return nil, fmt.Errorf("%w: marks of %q in %s are open in another Leadline%s: close it there first",
					imaging.ErrInUse, observer, dir, holder(f))
			}
			return nil, fmt.Errorf("%s: %w: this place cannot be locked (%v): keep the marks on a local disk with --marks DIR", path, imaging.ErrBadInput, err)
		}
		// Whoever let go of the lock removed the file: make sure it is still the one there.
		held, err1 := f.Stat()
		there, err2 := os.Stat(path)
		if err1 == nil && err2 == nil && os.SameFile(held, there) {
			if err := f.Truncate(0); err == nil {
				fmt.Fprintf(f, "%d\n", os.Getpid())
			}
			return f, nil
		}
		f.Close()
		if err2 != nil && !errors.Is(err2, os.ErrNotExist) {
			return nil, unwritable(dir, err2)
		}
	}
}

// holder names the process that a lock file says holds it.
func holder(f *os.File) string {
	b := make([]byte, 16)
	n, _ := f.ReadAt(b, 0)
	if pid := strings.TrimSpace(string(b[:n])); pid != "" && strings.Trim(pid, "0123456789") == "" {
		return " (process " + pid + ")"
	}
	return ""
}

// letGo removes the lock file while its lock is still held, then releases it.
func letGo(f *os.File) error {
	os.Remove(f.Name())
	return f.Close()
}

// unwritable words why nothing can be written into dir.
func unwritable(dir string, err error) error {
	kind := imaging.ErrBadInput
	reason := err
	var pe *os.PathError
	if errors.As(err, &pe) {
		reason = pe.Err
	}
	return fmt.Errorf("%w: marks cannot be kept in %s (%v): give another place with --marks DIR", kind, dir, reason)
}
