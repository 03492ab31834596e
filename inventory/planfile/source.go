package planfile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	yaml "go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"
)

// MaxSize is the largest plan that is read, in bytes: 1 MiB. Thousands of
// devices fit; the YAML library takes 40 times a file's size in memory.
const MaxSize = 1 << 20

// maxDepth is far beyond what the plan's keys need.
const maxDepth = 32

var (
	byteOrderMark = []byte("\xef\xbb\xbf")
	utf16Marks    = [][]byte{{0xff, 0xfe}, {0xfe, 0xff}}
)

// load reads the text into a syntax tree, or says what is wrong with the text.
// The byte order mark that some editors put in front is passed over.
func (r *reader) load(src []byte) *yaml.Node {
	if len(src) > MaxSize {
		r.fault(nil, "the plan has %d bytes; at most %d (1 MiB) are read", len(src), MaxSize)
		return nil
	}
	if !r.checkBytes(bytes.TrimPrefix(src, byteOrderMark)) {
		return nil
	}
	var doc yaml.Node
	err := yaml.Load(src, &doc, yaml.WithUniqueKeys(false), yaml.WithPlugin(loaderlimits.New(loaderlimits.DepthValue(maxDepth))))
	if err != nil {
		r.syntax(src, err)
		return nil
	}
	if len(doc.Content) != 1 {
		r.fault(nil, "the plan is empty")
		return nil
	}
	return doc.Content[0]
}

// checkBytes refuses what YAML cannot hold, and the line ends that YAML sees but
// editors do not show. It tells the first only: the rest mostly has one cause.
func (r *reader) checkBytes(src []byte) bool {
	for _, mark := range utf16Marks {
		if bytes.HasPrefix(src, mark) {
			r.fault(nil, "the file is UTF-16: save it as UTF-8")
			return false
		}
	}
	line, col := 1, 1
	for i := 0; i < len(src); {
		c, size := utf8.DecodeRune(src[i:])
		if word := badCharacter(src[i:], c, size); word != "" {
			r.fault(&yaml.Node{Line: line, Column: col}, "%s", word)
			return false
		}
		i += size
		col++
		if c == '\n' {
			line, col = line+1, 1
		}
	}
	if len(bytes.TrimSpace(src)) == 0 {
		r.fault(nil, "the plan is empty")
		return false
	}
	return true
}

func badCharacter(at []byte, c rune, size int) string {
	switch {
	case c == utf8.RuneError && size <= 1:
		return fmt.Sprintf("byte 0x%02X is no UTF-8: save the file as UTF-8, not in a Windows code page", at[0])
	case c == 0:
		return "a NUL character: the file is damaged, or it is no text"
	case c == '\r' && !bytes.HasPrefix(at, []byte("\r\n")):
		return "a carriage return without a line feed: end lines with LF or CR LF"
	case c == 0x85 || c == 0x2028 || c == 0x2029:
		return fmt.Sprintf("an invisible line break (U+%04X): replace it by a real one", c)
	case c == 0xfeff:
		return "a byte order mark (U+FEFF) in the middle of the file: remove it"
	case c < ' ' && c != '\n' && c != '\r' && c != '\t', c >= 0x7f && c < 0xa0:
		return fmt.Sprintf("a control character (U+%04X): remove it", c)
	}
	return ""
}

// syntaxWords puts the library's commonest messages into words for people.
var syntaxWords = []struct{ has, say string }{
	{"mapping values are not allowed", "a colon with a blank after it in the middle of a value, or a line that is indented too far: put the value in quotes, or correct the indentation"},
	{"did not find expected ',' or '}'", "a list of keys between { and } does not end as it should: a comma or the } is missing"},
	{"did not find expected ',' or ']'", "a list between [ and ] does not end as it should: a comma or the ] is missing"},
	{"found unexpected end of stream", "a quoted text does not end: the closing quote is missing"},
	{"could not find expected ':'", "a key without its colon: write key: value"},
	{"did not find expected key", "the indentation does not fit what stands above: keys of one mapping begin in one column"},
	{"did not find expected '-' indicator", "the indentation does not fit what stands above: entries of one list begin in one column"},
	{"block sequence entries are not allowed", "a list entry (-) where none can stand: put it on a line of its own"},
	{"did not find expected alphabetic or numeric character", "a value that begins with * or &, which YAML keeps for itself: put the value in quotes"},
	{"unknown anchor", "an alias (*) without its anchor (&): put the value in quotes if the * belongs to it"},
	{"exceeded max depth", fmt.Sprintf("nested deeper than %d levels", maxDepth)},
}

// syntax turns an error of the library into a problem.
func (r *reader) syntax(src []byte, err error) {
	le, ok := errors.AsType[*yaml.LoadError](err)
	if !ok {
		r.fault(nil, "not readable as YAML: %v", err)
		return
	}
	switch {
	case strings.Contains(le.Message, "no documents"):
		r.fault(nil, "the plan is empty")
		return
	case strings.Contains(le.Message, "multiple"):
		r.fault(nil, "the file holds several documents, parted by ---: a plan is one")
		return
	}
	at := &yaml.Node{Line: le.Mark.Line, Column: le.Mark.Column}
	if le.Mark.Line == 0 {
		at = nil
	}
	if strings.Contains(le.Message, "cannot start any token") && at != nil {
		r.fault(at, "%s", unstartable(src, at.Line))
		return
	}
	for _, w := range syntaxWords {
		if !strings.Contains(le.Message, w.has) {
			continue
		}
		if le.ContextMark.Line > 0 && le.ContextMark.Line != le.Mark.Line {
			r.fault(at, "%s (it began in line %d)", w.say, le.ContextMark.Line)
		} else {
			r.fault(at, "%s", w.say)
		}
		return
	}
	r.fault(at, "not readable as YAML: %s", le.Message)
}

// unstartable says why nothing begins at the line's first odd character.
func unstartable(src []byte, line int) string {
	text := bytes.TrimSuffix(lineOf(src, line), []byte("\r"))
	if i := bytes.IndexByte(text, '\t'); i >= 0 && len(bytes.TrimLeft(text[:i], " -")) == 0 {
		return "a tab: indent with blanks"
	}
	return "a value that begins with a character that YAML keeps for itself (such as @, ` or %): put the value in quotes"
}

// lineOf is the text of a line, counted from 1, without its line feed.
func lineOf(src []byte, line int) []byte {
	for ; line > 1; line-- {
		i := bytes.IndexByte(src, '\n')
		if i < 0 {
			return nil
		}
		src = src[i+1:]
	}
	src, _, _ = bytes.Cut(src, []byte("\n"))
	return src
}
