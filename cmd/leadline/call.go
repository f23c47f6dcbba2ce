package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
)

// command is one word after leadline.
type command struct {
	name     string
	args     string // what follows the name, for the usage line
	about    string // one line for the overview
	help     string // what it does, what it writes
	examples []string
	run      func(*call) error
}

// errHelp: help was asked for and shown.
var errHelp = errors.New("help shown")

// call is one command line of a command while it is carried out.
type call struct {
	command
	*flag.FlagSet
	words    []string // as typed after the command's name
	out, err io.Writer
}

func newCall(c command, words []string, out, err io.Writer) *call {
	fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	return &call{command: c, FlagSet: fs, words: words, out: out, err: err}
}

// operands parses the command line, in which flags may stand before, between
// and after the operands, and returns the operands.
func (c *call) operands() ([]string, error) {
	var found []string
	for rest := c.words; ; {
		err := c.Parse(rest)
		switch {
		case errors.Is(err, flag.ErrHelp):
			c.showHelp()
			return nil, errHelp
		case err != nil:
			return nil, c.usage("%s", strings.Replace(err.Error(), "flag provided but not defined: -", "there is no flag --", 1))
		}
		read := len(rest) - c.NArg()
		if c.NArg() == 0 {
			return found, nil
		}
		if read > 0 && rest[read-1] == "--" {
			return append(found, c.Args()...), nil
		}
		found, rest = append(found, c.Arg(0)), c.Args()[1:]
	}
}

// operand parses the command line of a command that takes just one CASE.
func (c *call) operand() (string, error) {
	found, err := c.operands()
	switch {
	case err != nil:
		return "", err
	case len(found) == 0:
		return "", c.usage("no CASE given: name a folder, a zip archive or a DICOM file")
	case len(found) > 1:
		return "", c.usage("one CASE at a time, but got %q and %q", found[0], found[1])
	}
	return found[0], nil
}

// given reports whether the flag was on the command line.
func (c *call) given(name string) bool {
	seen := false
	c.Visit(func(f *flag.Flag) { seen = seen || f.Name == name })
	return seen
}

// usage is an error in the command line itself.
func (c *call) usage(format string, a ...any) error {
	return badInput("%s; see 'leadline %s --help'", fmt.Sprintf(format, a...), c.name)
}

func (c *call) showHelp() {
	fmt.Fprintf(c.out, "leadline %s %s\n\n%s\n", c.name, c.args, strings.TrimSpace(c.help))
	first := true
	c.VisitAll(func(f *flag.Flag) {
		if first {
			fmt.Fprint(c.out, "\nFlags, before or after the operands:\n")
			first = false
		}
		value, text := flag.UnquoteUsage(f)
		fmt.Fprintf(c.out, "  %-26s %s\n", strings.TrimSpace("--"+f.Name+" "+value), text)
	})
	fmt.Fprint(c.out, "\nExamples:\n")
	for _, e := range c.examples {
		fmt.Fprintln(c.out, "  "+e)
	}
}
