// Package phantom makes the practice case: films of a made-up sacrum with two
// needles, the truth about them, and one observer's marks.
//
// The anatomy is ours, built from curves and ellipses after published figures
// and textbooks; no patient's images went into it. Bone, fat, soft tissue, gas
// and steel attenuate as NIST tabulates at the beam's mean energy; the films are
// cone-beam projections with scatter, blur and Poisson noise. Patient millimetres
// as in package carm: x to the left, y to posterior, z to the head.
package phantom

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"

	"leadline/imaging/carm"
	"leadline/imaging/dicomfile"
)

// noiseSeed makes quantum noise and the observer's hand repeatable.
const noiseSeed = 20260314

// Names of what Practice writes beside the films.
const (
	TruthName = "truth.json"
	MarksName = "marks.csv"
)

// Practice writes the practice case into dir, making it where it is not there:
// frontal.dcm and lateral.dcm, advance.dcm (the run of a needle being advanced),
// truth.json, and marks.csv with the marks of Observer on the two films. What is there under these names is replaced, each file whole. The
// case is the same every time. progress, which may be nil, is told how many of
// total steps are done, from one goroutine at a time.
func Practice(dir string, progress func(done, total int)) (Truth, error) {
	if progress == nil {
		progress = func(int, int) {}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return Truth{}, fmt.Errorf("practice case: %w", err)
	}
	const total = 100
	// Shares of the work, as measured: the grid, then the films.
	gridShare := 30
	runShare := 14
	filmShare := (total - gridShare - runShare) / len(shots)
	m := newMidline()
	var needles []needle
	for _, p := range plans {
		needles = append(needles, p.place(m))
	}
	truth := knowledge(m, needles)
	var cameras []carm.Camera
	for _, s := range shots {
		c, err := carm.FromGeometry(geometry(s.primary, s.secondary))
		if err != nil {
			return Truth{}, err
		}
		cameras = append(cameras, c)
		truth.Films = append(truth.Films, truth.onFilm(s, c))
	}

	run, runCamera, err := filmRun(needles)
	if err != nil {
		return Truth{}, err
	}
	truth.Runs = append(truth.Runs, run)

	// The small files first: a folder that cannot be written to shows at once.
	marks, err := marksCSV(m, truth, cameras)
	if err != nil {
		return Truth{}, fmt.Errorf("practice case: %w", err)
	}
	known, err := json.Marshal(truth)
	if err != nil {
		return Truth{}, fmt.Errorf("practice case: %w", err)
	}
	for name, data := range map[string][]byte{MarksName: marks, TruthName: append(known, '\n')} {
		if err := renameio.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return Truth{}, fmt.Errorf("practice case: %w", err)
		}
	}

	progress(0, total)
	v := newVolume(newAnatomy(m), volumeLow, volumeHigh, func(part float64) { progress(int(part*float64(gridShare)), total) })
	for i, s := range shots {
		before := gridShare + i*filmShare
		back := opaque(cameras[i], v, func(part float64) { progress(before+int(part*float64(filmShare)*0.6), total) })
		ds, err := instance(s, [][]uint16{expose(cameras[i], back, needles, noiseSeed+uint64(s.number))})
		if err != nil {
			return Truth{}, fmt.Errorf("practice case: %s: %w", s.file, err)
		}
		if err := dicomfile.Write(filepath.Join(dir, s.file), ds); err != nil {
			return Truth{}, fmt.Errorf("practice case: %w", err)
		}
		progress(before+filmShare, total)
		if s.primary != advance.primary || s.secondary != advance.secondary {
			continue
		}
		// The run looks the same way: its backdrop is the film's, whose samples
		// are as far apart as the run's pixels.
		ds, err = run.expose(runCamera, back, needles, func(part float64) { progress(before+filmShare+int(part*float64(runShare)), total) })
		if err != nil {
			return Truth{}, fmt.Errorf("practice case: %s: %w", run.File, err)
		}
		if err := dicomfile.Write(filepath.Join(dir, run.File), ds); err != nil {
			return Truth{}, fmt.Errorf("practice case: %w", err)
		}
	}
	progress(total, total)
	return truth, nil
}
