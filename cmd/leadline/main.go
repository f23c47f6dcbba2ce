// Command leadline does everything that needs no window: it lists a case,
// takes marks in and out, measures them, takes confirmations of side and level,
// and writes note, report and annotated frames.
//
// It exits with 0 when done, 2 when what it was given cannot be used (one line
// on standard error says what, where and what to do) and 1 when the machine or
// the program failed.
package main

import (
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"
)

func main() {
	stopOnInterrupt(os.Stderr)
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// commands in the order a newcomer needs them.
var commands = []command{
	demoCommand, listCommand, openCommand, markCommand, confirmCommand,
	measureCommand, assistCommand, operationCommand, respondCommand, compareCommand, noteCommand, sheetCommand, reportCommand, archiveCommand, framesCommand, tableCommand,
}

// run carries out one command line and returns its exit code.
func run(args []string, stdout, stderr io.Writer) (code int) {
	out, warn := harmless{stdout}, harmless{stderr}
	defer func() {
		if r := recover(); r != nil {
			fmt.Fprintf(warn, "leadline: this is a fault in leadline itself: %v\n%s", r, debug.Stack())
			code = exitFailed
		}
	}()
	name := ""
	if len(args) > 0 {
		name, args = args[0], args[1:]
	}
	switch name {
	case "":
		fmt.Fprintln(warn, "leadline: no command given: begin with 'leadline demo', or see 'leadline --help'")
		return exitBadInput
	case "help", "-h", "-help", "--help":
		if len(args) == 0 {
			overview(out)
			return exitDone
		}
		name, args = args[0], []string{"--help"}
	}
	for _, c := range commands {
		if c.name != name {
			continue
		}
		if err := c.run(newCall(c, args, out, warn)); err != nil && err != errHelp {
			fmt.Fprintf(warn, "leadline %s: %s\n", name, oneLine(err.Error()))
			return exitCode(err)
		}
		return exitDone
	}
	fmt.Fprintf(warn, "leadline: there is no command %q: see 'leadline --help'\n", name)
	return exitBadInput
}

func overview(out io.Writer) {
	fmt.Fprint(out, `leadline reads, from fluoroscopic films of a sacral neuromodulation case, where
needles and leads enter, at what angle, and how far they lie beyond the ventral
margin of the sacrum. For review after the case, never for guidance.

`)
	for _, c := range commands {
		fmt.Fprintf(out, "  %-9s %s\n", c.name, c.about)
	}
	fmt.Fprint(out, `
A CASE is a folder of DICOM files, a zip archive of one, or a single file; the
images are never changed. Where it holds several studies, say which by --study.
Marks are kept in OBSERVER.leadline.json beside the images, or in the folder
given by --marks. 'leadline COMMAND --help' shows examples.
`)
}

// oneLine keeps a message on its line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
