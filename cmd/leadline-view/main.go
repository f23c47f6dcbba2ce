// Leadline-view is the window of Leadline: a case is marked on its frames, and
// the numbers follow.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"leadline/imaging"
	"leadline/viewer/desk"
	"leadline/viewer/display"
	"leadline/viewer/window"
)

// Exit codes, as of the leadline command.
const (
	failed   = 1 // the machine or the program failed
	badInput = 2 // what was given cannot be used
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "leadline-view: "+oneLine(err))
		os.Exit(code(err))
	}
}

func run(args []string, out io.Writer) (err error) {
	var observer, marks, study string
	var opt window.Options
	fs := flag.NewFlagSet("leadline-view", flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.StringVar(&observer, "observer", "", "")
	fs.StringVar(&marks, "marks", "", "")
	fs.StringVar(&study, "study", "", "")
	// For automation and measurement, and so not in the help text.
	fs.StringVar(&opt.Automation, "automation", "", "")
	size := fs.String("size", "", "")
	tempo := fs.Bool("tempo", false, "")
	var paths []string
	for rest := args; len(rest) > 0; {
		err := fs.Parse(rest)
		switch {
		case errors.Is(err, flag.ErrHelp):
			_, err := io.WriteString(out, display.Usage)
			return err
		case err != nil:
			return fmt.Errorf("%w: %v; see 'leadline-view --help'", imaging.ErrBadInput, err)
		case fs.NArg() == 0:
			rest = nil
			continue
		}
		paths, rest = append(paths, fs.Arg(0)), fs.Args()[1:]
	}
	if len(paths) != 1 {
		return fmt.Errorf("%w: give one CASE, a folder of DICOM files, a zip archive of one, or one file; see 'leadline-view --help'", imaging.ErrBadInput)
	}
	if *size != "" {
		if _, err := fmt.Sscanf(*size, "%dx%d", &opt.Width, &opt.Height); err != nil {
			return fmt.Errorf("%w: --size %s: write it as 1280x800", imaging.ErrBadInput, *size)
		}
	}
	d, err := desk.OpenStudy(paths[0], study, observer, marks, window.Wake)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if *tempo {
		figures, err := window.Measure(d.Desk, opt)
		if err == nil {
			fmt.Fprintln(out, figures)
		}
		return err
	}
	return window.Run(d.Desk, opt)
}

// code tells what a person gave wrongly from what failed under way.
func code(err error) int {
	for _, kind := range []error{imaging.ErrNotDICOM, imaging.ErrUnsupported, imaging.ErrDamaged, imaging.ErrBadInput, imaging.ErrConflict, imaging.ErrInUse} {
		if errors.Is(err, kind) {
			return badInput
		}
	}
	return failed
}

// oneLine makes text harmless for a terminal, whatever a header put into it.
func oneLine(err error) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' {
			return ' '
		}
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, err.Error())
}
