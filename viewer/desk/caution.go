package desk

import (
	"fmt"
	"os"
	"path/filepath"
)

// stateDir is where this person's state is kept: $XDG_STATE_HOME/leadline, or
// ~/.local/state/leadline (XDG Base Directory Specification 0.8).
func stateDir() (string, error) {
	if s := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(s) {
		return filepath.Join(s, "leadline"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no place to keep state in: %w", err)
	}
	return filepath.Join(home, ".local", "state", "leadline"), nil
}

const cautionFile = "caution-read"

// cautionRead reports whether this person has acknowledged the caution.
func cautionRead() bool {
	dir, err := stateDir()
	if err != nil {
		return false
	}
	_, err = os.Stat(filepath.Join(dir, cautionFile))
	return err == nil
}

func keepCautionRead() error {
	dir, err := stateDir()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, cautionFile), nil, 0o600)
}
