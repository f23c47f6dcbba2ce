package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"

	"leadline/imaging"
	"leadline/imaging/intake"
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

// replaceable refuses an output path where a folder or a DICOM file stands:
// images are never overwritten, whichever case they belong to.
func replaceable(path string) error {
	if dir := filepath.Dir(path); !isDir(dir) {
		return badInput("there is no folder %s to write %s to: make it first", dir, filepath.Base(path))
	}
	if intake.SideFile(path) {
		return badInput("%s is where marks are kept and is not overwritten: name another file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil // nothing there to lose; writing says what is wrong with the path
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return badInput("%s is a folder: name a file in it", path)
	}
	// The prefix of a DICOM file (PS3.10 section 7.1).
	head := make([]byte, 132)
	if _, err := io.ReadFull(f, head); err == nil && bytes.Equal(head[128:], []byte("DICM")) {
		return badInput("%s is a DICOM file and is not overwritten: name another file", path)
	}
	return nil
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
