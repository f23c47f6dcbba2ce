package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/google/renameio/v2"
)

// recentFile lists the paths of cases opened last, newest first, and nothing
// else about them.
const (
	recentFile = "recent.json"
	recentMost = 9
)

// Recent gives the paths of the cases this person opened last, newest first.
func Recent() []string {
	dir, err := stateDir()
	if err != nil {
		return nil
	}
	data, err := os.ReadFile(filepath.Join(dir, recentFile))
	if err != nil {
		return nil
	}
	var paths []string
	if json.Unmarshal(data, &paths) != nil {
		return nil
	}
	return paths[:min(len(paths), recentMost)]
}

// keepRecent puts a path first in the list.
func keepRecent(path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	paths := slices.DeleteFunc(Recent(), func(p string) bool { return p == path })
	paths = append([]string{path}, paths...)
	return keepState(recentFile, paths[:min(len(paths), recentMost)])
}

// Forget removes what is kept of cases: their paths, and how each was looked at.
// Marks, and the caution's having been read, stay.
func Forget() error {
	dir, err := stateDir()
	if err != nil {
		return err
	}
	err = os.Remove(filepath.Join(dir, recentFile))
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, os.RemoveAll(filepath.Join(dir, leftFolder)))
}

// keepState writes a file of this person's state, which nobody else may read.
func keepState(name string, v any) error {
	dir, err := stateDir()
	if err != nil {
		return err
	}
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	file := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return fmt.Errorf("nothing can be kept there: %w", err)
	}
	return renameio.WriteFile(file, data, 0o600, renameio.IgnoreUmask())
}
