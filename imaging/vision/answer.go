package vision

import (
	"fmt"
	"io"
	"runtime/debug"

	"leadline/imaging/assist"
)

// answers by kind of request. What cannot be told from the picture is refused
// in the answer; an error is for a request that makes no sense.
var answers = map[assist.Kind]func(assist.Request, []Picture) (assist.Answer, []uint16, error){
	assist.Needle:   answerNeedle,
	assist.Contacts: answerContacts,
	assist.Margin:   answerMargin,
	assist.Quality:  answerQuality,
	assist.Enhance:  answerEnhance,
}

// Answer carries out a request. Pixels come with an enhanced frame alone.
func Answer(q assist.Request, pixels []uint16) (a assist.Answer, out []uint16) {
	defer func() {
		if r := recover(); r != nil {
			a, out = assist.Answer{Error: fmt.Sprintf("a fault in leadline-assist itself: %v at %s", r, debug.Stack())}, nil
		}
	}()
	answer, ok := answers[q.Kind]
	if !ok {
		return assist.Answer{Error: fmt.Sprintf("there is no request %q", q.Kind)}, nil
	}
	a, out, err := answer(q, pictures(q, pixels))
	if err != nil {
		return assist.Answer{Error: err.Error()}, nil
	}
	return a, out
}

// Serve answers requests until there are none any more or one cannot be read.
func Serve(r io.Reader, w io.Writer) error {
	for {
		q, pixels, err := assist.ReadRequest(r)
		if err == io.EOF {
			return nil
		}
		if err != nil {
			// The next message's beginning is not known.
			assist.WriteAnswer(w, assist.Answer{Error: err.Error()}, nil)
			return err
		}
		a, out := Answer(q, pixels)
		if err := assist.WriteAnswer(w, a, out); err != nil {
			return err
		}
	}
}
