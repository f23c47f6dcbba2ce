package main

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// harmless passes text on with everything a terminal would obey rather than
// show written out as an escape: control characters but newline and tab, DEL,
// the C1 controls, characters that turn the direction of writing (Unicode
// Standard Annex 9: a name could read as another) and others without a shape,
// and bytes that are not UTF-8. All of the command's output goes through it,
// because any header may hold any bytes.
type harmless struct{ w io.Writer }

func (h harmless) Write(p []byte) (int, error) {
	var b strings.Builder
	for rest := p; len(rest) > 0; {
		r, n := utf8.DecodeRune(rest)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, rest[0])
		case obeyed(r):
			b.WriteString(escape(r))
		default:
			b.Write(rest[:n])
		}
		rest = rest[n:]
	}
	if _, err := io.WriteString(h.w, b.String()); err != nil {
		return 0, err
	}
	return len(p), nil
}

// escape writes a rune as JSON does, so that JSON stays the same value.
func escape(r rune) string {
	if r > 0xffff {
		r -= 0x10000
		return fmt.Sprintf(`\u%04x\u%04x`, 0xd800+r>>10, 0xdc00+r&0x3ff)
	}
	return fmt.Sprintf(`\u%04x`, r)
}

// obeyed reports whether a terminal acts on r instead of showing it. Line and
// paragraph separators count, as some terminals break the line there.
func obeyed(r rune) bool {
	if r == '\n' || r == '\t' {
		return false
	}
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || unicode.In(r, unicode.Zl, unicode.Zp)
}
