// Package table reads and writes comma-separated tables (RFC 4180) under a first
// row that names the columns, in UTF-8. No cell it writes is taken for a formula by
// a spreadsheet program, and what it writes it reads back as it was.
package table

import (
	"strconv"
	"strings"
)

// formula are the characters with which programs begin a formula or a command:
// those OWASP lists under CSV injection, their full-width forms, and the bar and
// percent sign of older exchange commands.
const formula = "=+-@|%\t\r\n＝＋－＠"

// Cell makes text fit for a cell: what a program could run gets an apostrophe
// before it, which programs take as the sign of plain text. Numbers stay as they
// are, whatever their sign.
func Cell(text string) string {
	if number(text) || !runs(text) {
		return text
	}
	return "'" + text
}

// Text is what Cell was given.
func Text(cell string) string {
	if rest, ok := strings.CutPrefix(cell, "'"); ok && runs(rest) && !number(rest) {
		return rest
	}
	return cell
}

// runs reports whether text begins, after blanks and apostrophes, like a formula.
func runs(text string) bool {
	rest := strings.TrimLeft(text, " '\u00a0")
	for _, r := range rest {
		return strings.ContainsRune(formula, r)
	}
	return false
}

// number reports whether text is a decimal number and nothing else.
func number(text string) bool {
	if strings.Trim(text, "+-.0123456789eE") != "" {
		return false
	}
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}
