package main

import (
	"os"
	"path/filepath"
	"time"

	"leadline/imaging/phantom"
	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

// writePractice puts the case into dir, through a folder beside it so that an
// interrupt leaves nothing half-written. What other observers marked stays.
func writePractice(c *call, dir string) (phantom.Truth, error) {
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(dir, phantom.TruthName)); err != nil {
			return phantom.Truth{}, badInput("%s holds something other than a practice case: name an empty folder or a new one", dir)
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return phantom.Truth{}, err
	}
	aside, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".leadline-practice-")
	if err != nil {
		return phantom.Truth{}, err
	}
	defer whileUnfinished(aside)()
	truth, err := phantom.Practice(aside, newProgress(c.err, "computing the films, per cent"))
	if err != nil {
		return truth, err
	}
	written, err := os.ReadDir(aside)
	if err != nil {
		return truth, err
	}
	for _, e := range written {
		if err := os.Rename(filepath.Join(aside, e.Name()), filepath.Join(dir, e.Name())); err != nil {
			return truth, err
		}
	}
	return truth, nil
}

// practise takes the practice marks in with what the scenario's observer
// states: the theatre record names N1's side, while N2's rests on the header
// alone, and levels were told by the lateral landmarks.
func (r *reader) practise(path string) (sidecar.Report, error) {
	marks, err := r.readMarks(path)
	if err != nil {
		return sidecar.Report{}, err
	}
	return r.change(false, func(b *mark.Book) error {
		if !sameMarks(b.Marks, marks) {
			b.Marks = marks
		}
		if len(b.Statements) == 0 {
			now := time.Now().UTC().Truncate(time.Second)
			b.Statements = []mark.Statement{
				{Observer: r.observer, When: now, Object: "N1", Side: mark.LeftSide, SideBasis: mark.TheatreRecord},
				{Observer: r.observer, When: now, LevelBasis: mark.LateralLandmarks, Transitional: "not-seen"},
			}
		}
		return nil
	})
}
