package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// floors from the ground up: each imports only itself and those below it.
var floors = []string{"imaging", "measure", "viewer", "cmd"}

// imports of every package of the project, tests left out, by import path.
func imports(t *testing.T) map[string][]string {
	t.Helper()
	root := filepath.Join("..", "..")
	found := map[string][]string{}
	for _, floor := range floors {
		err := filepath.WalkDir(filepath.Join(root, floor), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			if err != nil {
				return err
			}
			dir, err := filepath.Rel(root, filepath.Dir(path))
			if err != nil {
				return err
			}
			from := "leadline/" + filepath.ToSlash(dir)
			for _, i := range f.Imports {
				to, err := strconv.Unquote(i.Path.Value)
				if err != nil {
					return err
				}
				found[from] = append(found[from], to)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return found
}

// floorOf is the height of a package of the project, -1 for others.
func floorOf(path string) int {
	for i, f := range floors {
		if strings.HasPrefix(path+"/", "leadline/"+f+"/") {
			return i
		}
	}
	return -1
}

func TestImportsGoDown(t *testing.T) {
	for from, all := range imports(t) {
		for _, to := range all {
			if floorOf(to) > floorOf(from) {
				t.Errorf("%s imports %s, which stands above it", from, to)
			}
		}
	}
}

// What costs start-up time or needs a display stays where it belongs.
func TestHeavyLibrariesStayPut(t *testing.T) {
	only := map[string]string{
		"github.com/hajimehoshi/ebiten":     "leadline/viewer/window",
		"github.com/disintegration/imaging": "leadline/viewer/paint",
		"gocv.io/x/gocv":                    "leadline/imaging/vision",
		"leadline/imaging/vision":           "leadline/cmd/leadline-assist",
	}
	all := imports(t)
	for library, home := range only {
		if !reaches(all, home, library) {
			t.Errorf("%s does not use %s: is the rule out of date?", home, library)
		}
		for from, used := range all {
			for _, to := range used {
				if strings.HasPrefix(to, library) && from != home {
					t.Errorf("%s imports %s, which belongs to %s alone", from, to, home)
				}
			}
		}
	}
	for _, program := range []string{"leadline/cmd/leadline", "leadline/cmd/leadline-view"} {
		if reaches(all, program, "gocv.io/x/gocv") {
			t.Errorf("%s links OpenCV: slow to start, and a crash in it would take the program down", program)
		}
	}
	if reaches(all, "leadline/cmd/leadline", "github.com/hajimehoshi/ebiten") {
		t.Error("leadline links the window's library and could not start without a display")
	}
}

// reaches follows imports within the project.
func reaches(all map[string][]string, from, library string) bool {
	seen := map[string]bool{}
	var follow func(string) bool
	follow = func(p string) bool {
		if strings.HasPrefix(p, library) {
			return true
		}
		if seen[p] {
			return false
		}
		seen[p] = true
		for _, to := range all[p] {
			if follow(to) {
				return true
			}
		}
		return false
	}
	return follow(from)
}
