package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/renameio/v2"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// writeWhole writes a file through a temporary one beside it, so that a reader
// finds the former file or the whole new one. It never replaces a DICOM file.
func writeWhole(path string, write func(io.Writer) error) error {
	if err := replaceable(path); err != nil {
		return err
	}
	return uninterrupted(func() error {
		pending, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(0o644))
		if err != nil {
			return fmt.Errorf("%s cannot be written: %w", path, err)
		}
		defer pending.Cleanup()
		if err := write(pending); err != nil {
			return err
		}
		if err := pending.CloseAtomicallyReplace(); err != nil {
			return fmt.Errorf("%s cannot be written: %w", path, err)
		}
		return nil
	})
}

// replaceable refuses an output path where a folder, a sidecar, a DICOM file or a
// zip archive stands: images are never overwritten, whichever case they belong
// to.
func replaceable(path string) error {
	if dir := filepath.Dir(path); !isDir(dir) {
		return badInput("there is no folder %s to write %s to: make it first", dir, filepath.Base(path))
	}
	if strings.Contains(filepath.Base(path), ".leadline.") {
		return badInput("%s is where marks are kept and is not overwritten: name another file", path)
	}
	switch info, err := os.Stat(path); {
	case err != nil:
		return nil // nothing there to lose; writing says what is wrong with the path
	case info.IsDir():
		return badInput("%s is a folder: name a file in it", path)
	}
	f, err := dicomfile.Open(path)
	switch {
	case err == nil:
		f.Close()
	case errors.Is(err, imaging.ErrNotDICOM) && errors.Is(err, imaging.ErrUnsupported):
		return badInput("%s is a zip archive and is not overwritten: name another file", path)
	case errors.Is(err, imaging.ErrNotDICOM):
		return nil
	}
	return badInput("%s is a DICOM file and is not overwritten: name another file", path)
}

func isDir(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// count is "1 film", "2 films".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func baseName(h *imaging.Header) string { return filepath.Base(h.File) }

// orWords is s, or the words for its absence.
func orWords(s, absent string) string {
	if s == "" {
		return absent
	}
	return s
}
