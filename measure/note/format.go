package note

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"leadline/imaging"
	"leadline/measure/table"
)

// Format is how a note is written down.
type Format string

// The formats.
const (
	PlainText Format = "text"
	Markdown  Format = "markdown"
	RichText  Format = "rtf"
)

// render writes blocks down in a format.
func render(blocks []block, f Format) (string, error) {
	switch f {
	case PlainText:
		return asText(blocks), nil
	case Markdown:
		return asMarkdown(blocks), nil
	case RichText:
		return asRichText(blocks), nil
	}
	return "", fmt.Errorf("%w: format %s is not known: use text, markdown or rtf", imaging.ErrBadInput, table.Quote(string(f)))
}

// asText is plain text: a blank line between paragraphs, headings with a colon,
// tables in columns for a font of one width.
func asText(blocks []block) string {
	var b strings.Builder
	for i, k := range blocks {
		if i > 0 && blocks[i-1].kind != heading && (k.kind != item || blocks[i-1].kind != item) {
			b.WriteString("\n")
		}
		switch k.kind {
		case heading:
			b.WriteString(k.text + ":\n")
		case item:
			b.WriteString("- " + k.text + "\n")
		case grid:
			b.WriteString(columns(k.rows))
		default:
			b.WriteString(k.text + "\n")
		}
	}
	return b.String()
}

// columns sets cells under each other.
func columns(rows [][]string) string {
	var width []int
	for _, r := range rows {
		for i, c := range r {
			if i == len(width) {
				width = append(width, 0)
			}
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	var b strings.Builder
	for _, r := range rows {
		var line strings.Builder
		for i, c := range r {
			line.WriteString(c + strings.Repeat(" ", width[i]-utf8.RuneCountInString(c)+2))
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return b.String()
}

// asMarkdown is Markdown as CommonMark reads it, with the table of the GitHub
// dialect. Signs that mean something to either are taken as they are.
func asMarkdown(blocks []block) string {
	var b strings.Builder
	for i, k := range blocks {
		if i > 0 && (k.kind != item || blocks[i-1].kind != item) {
			b.WriteString("\n")
		}
		switch k.kind {
		case heading:
			b.WriteString("## " + escapeMarkdown(k.text) + "\n")
		case item:
			b.WriteString("- " + escapeMarkdown(k.text) + "\n")
		case grid:
			for n, r := range k.rows {
				for _, c := range r {
					b.WriteString("| " + escapeMarkdown(c) + " ")
				}
				b.WriteString("|\n")
				if n == 0 {
					b.WriteString(strings.Repeat("| --- ", len(r)) + "|\n")
				}
			}
		default:
			b.WriteString(escapeMarkdown(k.text) + "\n")
		}
	}
	return b.String()
}

// markdownSigns mean something anywhere in a line; a backslash takes that from any
// of ASCII punctuation (CommonMark 0.31, 2.4).
const markdownSigns = "\\`*_[]<>|~&$"

func escapeMarkdown(s string) string {
	var b strings.Builder
	for i, r := range s {
		switch {
		case strings.ContainsRune(markdownSigns, r),
			// These only at the start of a line.
			i == 0 && strings.ContainsRune("#+-=", r),
			(r == '.' || r == ')') && i > 0 && strings.Trim(s[:i], "0123456789") == "":
			b.WriteByte('\\')
		case r == ':' && strings.HasPrefix(s[i:], "://"): // no address becomes a link
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}
