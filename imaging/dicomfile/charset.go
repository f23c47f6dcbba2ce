package dicomfile

import (
	"bytes"
	"strings"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
	"golang.org/x/text/encoding/unicode"
)

// charsets are the defined terms of Specific Character Set (0008,0005) by the
// part after ISO_IR or ISO 2022 IR (PS3.3 C.12.1.1.2).
var charsets = map[string]encoding.Encoding{
	"6":   charmap.ISO8859_1, // ASCII; what lies above is not allowed, and is most often Latin 1
	"100": charmap.ISO8859_1,
	"101": charmap.ISO8859_2,
	"109": charmap.ISO8859_3,
	"110": charmap.ISO8859_4,
	"144": charmap.ISO8859_5,
	"127": charmap.ISO8859_6,
	"126": charmap.ISO8859_7,
	"138": charmap.ISO8859_8,
	"148": charmap.ISO8859_9,
	"203": charmap.ISO8859_15,
	"13":  japanese.ShiftJIS, // JIS X 0201 is its single-byte part
	"166": charmap.Windows874,
	"192": unicode.UTF8,
	"87":  charmap.ISO8859_1, // these five come in by escape sequences only
	"159": charmap.ISO8859_1,
	"149": korean.EUCKR, // KS X 1001 with its high bits set
	"58":  simplifiedchinese.GBK,
}

// escapes are the escape sequences of PS3.3 tables C.12-3 and C.12-4. Those
// into ISO 2022-JP keep their sequence for its decoder.
var escapes = []struct {
	seq   string
	enc   encoding.Encoding
	keeps bool
}{
	{"\x1b(B", charmap.ISO8859_1, false},
	{"\x1b-A", charmap.ISO8859_1, false},
	{"\x1b-B", charmap.ISO8859_2, false},
	{"\x1b-C", charmap.ISO8859_3, false},
	{"\x1b-D", charmap.ISO8859_4, false},
	{"\x1b-L", charmap.ISO8859_5, false},
	{"\x1b-G", charmap.ISO8859_6, false},
	{"\x1b-F", charmap.ISO8859_7, false},
	{"\x1b-H", charmap.ISO8859_8, false},
	{"\x1b-M", charmap.ISO8859_9, false},
	{"\x1b-b", charmap.ISO8859_15, false},
	{"\x1b-T", charmap.Windows874, false},
	{"\x1b(J", japanese.ShiftJIS, false},
	{"\x1b)I", japanese.ShiftJIS, false},
	{"\x1b$B", japanese.ISO2022JP, true},
	{"\x1b$@", japanese.ISO2022JP, true},
	{"\x1b$(D", japanese.ISO2022JP, true},
	{"\x1b$)C", korean.EUCKR, false},
	{"\x1b$)A", simplifiedchinese.GBK, false},
}

// text turns values of the representations LO, LT, PN, SH, ST, UC and UT into
// UTF-8.
type text struct {
	initial   encoding.Encoding
	extended  bool     // code extensions may be used: more than one value, or ISO 2022
	unknown   []string // terms that are not known; read as Latin 1
	multibyte bool     // a backslash may be half of a character
}

func newText(terms []string) text {
	t := text{initial: charmap.ISO8859_1}
	for i, term := range terms {
		term = strings.TrimSpace(term)
		var enc encoding.Encoding
		switch {
		case term == "":
			enc = charmap.ISO8859_1
		case term == "GB18030":
			enc, t.multibyte = simplifiedchinese.GB18030, true
		case term == "GBK":
			enc, t.multibyte = simplifiedchinese.GBK, true
		case strings.HasPrefix(term, "ISO_IR "):
			enc = charsets[strings.TrimPrefix(term, "ISO_IR ")]
		case strings.HasPrefix(term, "ISO 2022 IR "):
			enc, t.extended = charsets[strings.TrimPrefix(term, "ISO 2022 IR ")], true
		}
		if enc == nil {
			t.unknown = append(t.unknown, term)
			enc = charmap.ISO8859_1
		}
		if i == 0 {
			t.initial = enc
		}
	}
	t.extended = t.extended || len(terms) > 1
	return t
}

// decode gives valid UTF-8 whatever the bytes; what cannot be read becomes
// U+FFFD.
func (t text) decode(b []byte) string {
	if !t.extended || bytes.IndexByte(b, 0x1b) < 0 {
		return plain(t.initial, b)
	}
	var out strings.Builder
	enc, keep := t.initial, ""
	from := 0
	flush := func(to int) {
		if to > from {
			out.WriteString(plain(enc, append([]byte(keep), b[from:to]...)))
		}
		from = to
	}
	for i := 0; i < len(b); {
		if b[i] == 0x1b {
			flush(i)
			enc, keep = t.initial, ""
			from = i + 1 // an unknown sequence loses its escape and stays legible
			for _, e := range escapes {
				if bytes.HasPrefix(b[i:], []byte(e.seq)) {
					enc, from = e.enc, i+len(e.seq)
					if e.keeps {
						keep = e.seq
					}
					break
				}
			}
			i = from
			continue
		}
		// Delimiters put the initial set back (PS3.5 6.1.2.5.3); in a set of
		// two-byte characters below 0x80 they must be escaped from first.
		if keep == "" && strings.IndexByte("\\^=\r\n\f\t", b[i]) >= 0 {
			flush(i)
			enc = t.initial
		}
		i++
	}
	flush(len(b))
	return out.String()
}

func plain(enc encoding.Encoding, b []byte) string {
	s, err := enc.NewDecoder().Bytes(b)
	if err != nil {
		s = b
	}
	return strings.ToValidUTF8(string(s), "\uFFFD")
}
