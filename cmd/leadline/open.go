package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
)

var openCommand = command{
	name:  "open",
	args:  "CASE [--observer NAME] [--study NUMBER]",
	about: "open the case in the viewer, to mark and to read",
	help: `Starts leadline-view, which must stand beside leadline or in the PATH, and needs
a display. What is marked there is saved as it is marked.`,
	examples: []string{"leadline open out/practice", "leadline open out/practice --observer fellow --marks ~/marks"},
	run:      runOpen,
}

func runOpen(c *call) error {
	var by reader
	by.flags(c)
	path, err := c.operand()
	if err != nil {
		return err
	}
	if _, err := os.Stat(path); err != nil {
		return badInput("%s cannot be opened (%v): name a folder, a zip archive or a DICOM file", path, err)
	}
	viewer, err := findViewer()
	if err != nil {
		return err
	}
	args := []string{viewer, path}
	for _, f := range [][2]string{{"--observer", by.observer}, {"--marks", by.marks}, {"--study", by.study}} {
		if f[1] != "" {
			args = append(args, f[0], f[1])
		}
	}
	// The viewer takes this process over, so that its end is this command's end.
	if err := syscall.Exec(viewer, args, os.Environ()); err != nil {
		return fmt.Errorf("%s cannot be started: %w", viewer, err)
	}
	return nil
}

// findViewer looks beside this program first, so that both are of one build.
func findViewer() (string, error) {
	if self, err := os.Executable(); err == nil {
		beside := filepath.Join(filepath.Dir(self), "leadline-view")
		if info, err := os.Stat(beside); err == nil && info.Mode().IsRegular() {
			return beside, nil
		}
	}
	if found, err := exec.LookPath("leadline-view"); err == nil {
		return found, nil
	}
	return "", badInput("leadline-view stands neither beside leadline nor in the PATH: build it with 'make', or use 'leadline measure', which needs no window")
}
