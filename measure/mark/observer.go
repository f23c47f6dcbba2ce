package mark

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
)

// SafeName reduces an observer's name to characters that are safe in a file
// name everywhere: A to Z, a to z, 0 to 9, hyphen, underscore and points within.
// A name that loses something gets a short digest of what it was, so that no
// two observers share a file.
func SafeName(observer string) string {
	const most = 48
	var b strings.Builder
	for _, r := range observer {
		switch {
		case 'A' <= r && r <= 'Z', 'a' <= r && r <= 'z', '0' <= r && r <= '9', r == '_', r == '-', r == '.':
			b.WriteRune(r)
		case !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	// No hidden file, nothing that reads as an option or a parent folder.
	safe := strings.Trim(b.String(), "-.")
	for strings.Contains(safe, "..") {
		safe = strings.ReplaceAll(safe, "..", ".")
	}
	if len(safe) > most {
		safe = strings.TrimRight(safe[:most], "-.")
	}
	stem, _, _ := strings.Cut(safe, ".")
	if safe == observer && safe != "" && !slices.Contains(reserved, strings.ToUpper(stem)) {
		return safe
	}
	if safe == "" {
		safe = "observer"
	}
	sum := sha256.Sum256([]byte(observer))
	return strings.ReplaceAll(safe, ".", "-") + "-" + hex.EncodeToString(sum[:4])
}

// reserved are names that some systems keep for devices whatever follows them.
var reserved = []string{"CON", "PRN", "AUX", "NUL",
	"COM1", "COM2", "COM3", "COM4", "COM5", "COM6", "COM7", "COM8", "COM9",
	"LPT1", "LPT2", "LPT3", "LPT4", "LPT5", "LPT6", "LPT7", "LPT8", "LPT9"}
