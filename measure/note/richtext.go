package note

import (
	"fmt"
	"strings"
	"unicode/utf16"
)

// Page of a rich text in twips (a twentieth of a point): what lies between the
// margins of an A4 sheet.
const richWidth = 9638

// asRichText is RTF 1.9.1 of the plainest kind: paragraphs, bold headings, tables
// with rules. It names no font file, no picture, no field and no object.
func asRichText(blocks []block) string {
	var b strings.Builder
	b.WriteString("{\\rtf1\\ansi\\ansicpg1252\\deff0\\uc1{\\fonttbl{\\f0\\fswiss Arial;}}\\paperw11906\\paperh16838\\margl1134\\margr1134\\f0\\fs20\n")
	for _, k := range blocks {
		switch k.kind {
		case heading:
			b.WriteString("{\\pard\\sb200\\sa60\\keepn\\b " + escapeRichText(k.text) + "\\par}\n")
		case item:
			b.WriteString("{\\pard\\li284\\fi-284\\sa40\\tx284 \\u8226?\\tab " + escapeRichText(k.text) + "\\par}\n")
		case grid:
			richTable(&b, k.rows)
		default:
			b.WriteString("{\\pard\\sa120 " + escapeRichText(k.text) + "\\par}\n")
		}
	}
	b.WriteString("}\n")
	return b.String()
}

func richTable(b *strings.Builder, rows [][]string) {
	const rule = "\\clbrdrt\\brdrs\\brdrw5\\clbrdrl\\brdrs\\brdrw5\\clbrdrb\\brdrs\\brdrw5\\clbrdrr\\brdrs\\brdrw5"
	for n, r := range rows {
		b.WriteString("\\trowd\\trgaph70")
		if n == 0 {
			b.WriteString("\\trhdr")
		}
		for i := range r {
			fmt.Fprintf(b, "%s\\cellx%d", rule, richWidth*(i+1)/len(r))
		}
		b.WriteString("\n")
		for _, c := range r {
			weight := ""
			if n == 0 {
				weight = "\\b"
			}
			b.WriteString("{\\pard\\intbl\\fs16" + weight + " " + escapeRichText(c) + "\\cell}\n")
		}
		b.WriteString("\\row\n")
	}
	b.WriteString("\\pard\\par\n")
}

// escapeRichText takes their meaning from backslash and braces, and writes what is
// not ASCII as signed 16-bit numbers with a question mark for readers that know
// none (RTF 1.9.1, Unicode RTF). Control characters are left out.
func escapeRichText(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == '{' || r == '}':
			b.WriteString("\\" + string(r))
		case r < 0x20 || r == 0x7f:
		case r < 0x7f:
			b.WriteRune(r)
		default:
			for _, u := range utf16.Encode([]rune{r}) {
				fmt.Fprintf(&b, "\\u%d?", int16(u))
			}
		}
	}
	return b.String()
}
