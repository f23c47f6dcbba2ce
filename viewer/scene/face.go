package scene

import (
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// FontData is the TrueType file all words are set in: Go Regular or Go Bold.
// An output that draws letters itself uses the same, so that what was measured
// is what is shown.
func FontData(bold bool) []byte {
	if bold {
		return gobold.TTF
	}
	return goregular.TTF
}

// Height of the letters above and below the baseline, as a part of the em:
// capitals with accents and descenders of the Go fonts fit within.
const (
	ascent  = 0.95
	descent = 0.22
	// LineHeight is the distance between baselines as a part of the em.
	LineHeight = 1.3
)

// unitSize is the em at which glyphs are measured; advances scale with size,
// since nothing is hinted.
const unitSize = 512

var faces struct {
	sync.Mutex
	font    [2]*sfnt.Font
	buffer  sfnt.Buffer
	advance [2]map[rune]float64 // of the em
	face    map[faceKey]font.Face
}

type faceKey struct {
	bold bool
	size float64
}

func index(bold bool) int {
	if bold {
		return 1
	}
	return 0
}

// parsed gives the font; the caller holds the lock. The data are compiled in,
// so that an error here is a broken build.
func parsed(bold bool) *sfnt.Font {
	i := index(bold)
	if faces.font[i] == nil {
		f, err := opentype.Parse(FontData(bold))
		if err != nil {
			panic("scene: the compiled-in font cannot be read: " + err.Error())
		}
		faces.font[i] = f
		faces.advance[i] = map[rune]float64{}
	}
	return faces.font[i]
}

// Advance is the width of one line of words in output pixels at an em of size
// output pixels, unhinted and without kerning.
func Advance(words string, size float64, bold bool) float64 {
	faces.Lock()
	defer faces.Unlock()
	f, i, sum := parsed(bold), index(bold), 0.0
	for _, r := range words {
		a, ok := faces.advance[i][r]
		if !ok {
			if g, err := f.GlyphIndex(&faces.buffer, r); err == nil {
				if w, err := f.GlyphAdvance(&faces.buffer, g, fixed.I(unitSize), font.HintingNone); err == nil {
					a = float64(w) / 64 / unitSize
				}
			}
			faces.advance[i][r] = a
		}
		sum += a
	}
	return sum * size
}

// Fit shortens words to the width with an ellipsis.
func Fit(words string, size float64, bold bool, width float64) string {
	if Advance(words, size, bold) <= width {
		return words
	}
	r := []rune(words)
	for len(r) > 0 && Advance(string(r)+"…", size, bold) > width {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// Wrap breaks words into lines no wider than width, at blanks.
func Wrap(words string, size float64, bold bool, width float64) []string {
	var lines []string
	line := ""
	for len(words) > 0 {
		w, rest := cutBlank(words)
		next := w
		if line != "" {
			next = line + " " + w
		}
		if line != "" && Advance(next, size, bold) > width {
			lines, line = append(lines, line), w
		} else {
			line = next
		}
		words = rest
	}
	if line != "" {
		lines = append(lines, line)
	}
	for i, l := range lines {
		lines[i] = Fit(l, size, bold, width)
	}
	return lines
}

func cutBlank(s string) (first, rest string) {
	for i := 0; i < len(s); i++ {
		if s[i] == ' ' {
			j := i
			for j < len(s) && s[j] == ' ' {
				j++
			}
			return s[:i], s[j:]
		}
	}
	return s, ""
}
