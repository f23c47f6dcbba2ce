package mark

import "strings"

// Contradicted reports whether the source of a side, or of the patient's left on
// a film, names another source that says otherwise: what a named observer
// confirmed against a film, its header or the marks. It stands, but a reader must
// see that it was disputed.
func Contradicted(source string) bool {
	for _, words := range []string{"otherwise", "disagree", "does not fit"} {
		if strings.Contains(source, words) {
			return true
		}
	}
	return false
}
