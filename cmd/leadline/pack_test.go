package main

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/testscript"
)

// packed ARCHIVE FOLDER: packs the folder into a zip archive, under its name.
func packed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: packed ARCHIVE FOLDER")
	}
	archive, err := packFolder(ts.MkAbs(args[1]))
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), archive, 0o644))
}

// packFolder is a zip archive of a folder, under the folder's name.
func packFolder(dir string) ([]byte, error) {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(filepath.Dir(dir), path)
		if err != nil {
			return err
		}
		part, err := w.Create(filepath.ToSlash(rel))
		if err == nil {
			_, err = part.Write(content)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	err = w.Close()
	return b.Bytes(), err
}
