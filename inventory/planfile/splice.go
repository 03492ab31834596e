package planfile

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	yaml "go.yaml.in/yaml/v4"
)

// splice replaces src[from:to] by text.
type splice struct {
	from, to int
	text     string
}

// apply makes all splices, which do not overlap. Those at one place keep their order.
func apply(src []byte, splices []splice) []byte {
	slices.SortStableFunc(splices, func(a, b splice) int { return a.from - b.from })
	var out []byte
	at := 0
	for _, s := range splices {
		out = append(append(out, src[at:s.from]...), s.text...)
		at = s.to
	}
	return append(out, src[at:]...)
}

// layout finds where nodes stand in the text, in bytes.
type layout struct {
	src    []byte
	starts []int // of each line
}

func layOut(src []byte) layout {
	l := layout{src: src, starts: []int{0}}
	if bytes.HasPrefix(src, byteOrderMark) {
		l.starts[0] = len(byteOrderMark) // columns do not count it
	}
	for i, c := range src {
		if c == '\n' {
			l.starts = append(l.starts, i+1)
		}
	}
	return l
}

// start is where the node begins: at its anchor or tag, where it has one.
func (l layout) start(n *yaml.Node) (int, bool) {
	if n.Line < 1 || n.Line > len(l.starts) {
		return 0, false
	}
	at := l.starts[n.Line-1]
	for range n.Column - 1 {
		if at >= len(l.src) || l.src[at] == '\n' {
			return 0, false
		}
		_, size := utf8.DecodeRune(l.src[at:])
		at += size
	}
	return at, true
}

// end is where the node's text ends. It is false where the text is not what the
// node makes one expect: then nothing near it is edited.
func (l layout) end(n *yaml.Node) (int, bool) {
	at, ok := l.start(n)
	if !ok {
		return 0, false
	}
	if n.Kind == yaml.AliasNode {
		return at + 1 + len(n.Value), bytes.HasPrefix(l.src[at:], []byte("*"+n.Value))
	}
	at = l.afterProperties(at, n)
	switch {
	case n.Kind == yaml.ScalarNode:
		return l.scalarEnd(at, n)
	case n.Style&yaml.FlowStyle != 0:
		return l.flowEnd(at, n)
	case len(n.Content) > 0:
		return l.end(n.Content[len(n.Content)-1])
	}
	return 0, false
}

// afterProperties passes over an anchor and a tag.
func (l layout) afterProperties(at int, n *yaml.Node) int {
	for (n.Anchor != "" || n.Style&yaml.TaggedStyle != 0) && at < len(l.src) && (l.src[at] == '&' || l.src[at] == '!') {
		for at < len(l.src) && !isBlank(l.src[at]) {
			at++
		}
		for at < len(l.src) && isBlank(l.src[at]) {
			at++
		}
	}
	return at
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' || c == '\r' || c == '\n' }

func (l layout) scalarEnd(at int, n *yaml.Node) (int, bool) {
	switch {
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		return l.blockEnd(at)
	case n.Style&yaml.SingleQuotedStyle != 0:
		return l.quoteEnd(at, '\'')
	case n.Style&yaml.DoubleQuotedStyle != 0:
		return l.quoteEnd(at, '"')
	}
	return l.plainEnd(at, n.Value)
}

// plainEnd passes over a plain value, whose line breaks and blanks YAML folds.
func (l layout) plainEnd(at int, value string) (int, bool) {
	for i, word := range strings.FieldsFunc(value, unicode.IsSpace) {
		for i > 0 && at < len(l.src) && isBlank(l.src[at]) {
			at++
		}
		if !bytes.HasPrefix(l.src[at:], []byte(word)) {
			return 0, false
		}
		at += len(word)
	}
	return at, true
}

func (l layout) quoteEnd(at int, quote byte) (int, bool) {
	if at >= len(l.src) || l.src[at] != quote {
		return 0, false
	}
	for at++; at < len(l.src); at++ {
		switch c := l.src[at]; {
		case c == '\\' && quote == '"':
			at++
		case c == quote && quote == '\'' && at+1 < len(l.src) && l.src[at+1] == quote:
			at++
		case c == quote:
			return at + 1, true
		}
	}
	return 0, false
}

// blockEnd passes over a block of text (| or >): the lines after its head that
// are blank, or indented as far as the first one is.
func (l layout) blockEnd(at int) (int, bool) {
	head, rest, _ := bytes.Cut(l.src[at:], []byte("\n"))
	if bytes.ContainsAny(head, "0123456789") { // an explicit indentation
		return 0, false
	}
	end, pos, depth := at+len(bytes.TrimRight(head, "\r")), at+len(head)+1, -1
	for len(rest) > 0 {
		line, more, _ := bytes.Cut(rest, []byte("\n"))
		text := bytes.TrimRight(line, " \r")
		indent := len(text) - len(bytes.TrimLeft(text, " "))
		if len(text) > 0 {
			if depth < 0 {
				depth = indent
			}
			if indent < depth || depth == 0 {
				break
			}
			end = pos + len(bytes.TrimRight(line, "\r"))
		}
		pos, rest = pos+len(line)+1, more
	}
	return end, true
}

// flowEnd passes over a collection between brackets or braces.
func (l layout) flowEnd(at int, n *yaml.Node) (int, bool) {
	open, closing := byte('{'), byte('}')
	if n.Kind == yaml.SequenceNode {
		open, closing = '[', ']'
	}
	if at >= len(l.src) || l.src[at] != open {
		return 0, false
	}
	at++
	if len(n.Content) > 0 {
		end, ok := l.end(n.Content[len(n.Content)-1])
		if !ok {
			return 0, false
		}
		at = end
	}
	for at < len(l.src) {
		switch c := l.src[at]; {
		case c == closing:
			return at + 1, true
		case isBlank(c) || c == ',' || c == ':':
			at++
		case c == '#':
			at = l.lineEnd(at)
		default:
			return 0, false
		}
	}
	return 0, false
}

// lineEnd is the end of the line that holds at, without its line end.
func (l layout) lineEnd(at int) int {
	i := bytes.IndexByte(l.src[at:], '\n')
	if i < 0 {
		return len(l.src)
	}
	if at += i; at > 0 && l.src[at-1] == '\r' {
		at--
	}
	return at
}

// lineStart is where the line that holds at begins.
func (l layout) lineStart(at int) int { return bytes.LastIndexByte(l.src[:at], '\n') + 1 }

// lineBreak is how the text ends its lines.
func (l layout) lineBreak() string {
	if i := bytes.IndexByte(l.src, '\n'); i > 0 && l.src[i-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// wide is where a line of a plan gets too long to read.
const wide = 150

// insertPair puts a key with its value behind the last one of a mapping.
func (l layout) insertPair(m *yaml.Node, pair string) (splice, error) {
	if len(m.Content) == 0 {
		end, ok := l.end(m)
		if !ok || m.Style&yaml.FlowStyle == 0 {
			return splice{}, byHand(m, "is empty in a way that cannot be filled in place")
		}
		return splice{end - 1, end - 1, pair}, nil
	}
	first, last := m.Content[0], m.Content[len(m.Content)-1]
	at, ok := l.end(last)
	if !ok {
		return splice{}, byHand(last, "is written in a way after which nothing can be put in place")
	}
	indent := strings.Repeat(" ", max(first.Column-1, 0))
	if m.Style&yaml.FlowStyle != 0 {
		glue := ", "
		if l.lineEnd(at)-l.lineStart(at)+len(pair) > wide {
			glue = "," + l.lineBreak() + indent
		}
		return splice{at, at, glue + pair}, nil
	}
	at = l.lineEnd(at)
	return splice{at, at, l.lineBreak() + indent + pair}, nil
}

// removePair takes a key with its value out of a mapping, and the line with it
// where nothing else stands on that.
func (l layout) removePair(m *yaml.Node, i int) (splice, error) {
	key, value := m.Content[i], m.Content[i+1]
	from, ok := l.start(key)
	to, ok2 := l.end(value)
	switch {
	case !ok || !ok2:
		return splice{}, byHand(key, "is written in a way that cannot be taken out in place")
	case value.Anchor != "":
		return splice{}, byHand(value, "carries the anchor &"+value.Anchor+", which others may refer to")
	case m.Style&yaml.FlowStyle == 0:
		return l.removeLines(m, from, to)
	case len(m.Content) == 2:
		return splice{from, to, ""}, nil
	}
	if next := i + 2; next < len(m.Content) && m.Content[next].Line == lineNumber(l, to) {
		n, ok := l.start(m.Content[next])
		if !ok {
			return splice{}, byHand(key, "is written in a way that cannot be taken out in place")
		}
		return splice{from, n, ""}, nil
	}
	if i > 0 {
		if prev, ok := l.end(m.Content[i-1]); ok && lineNumber(l, prev) == key.Line {
			return splice{prev, to, ""}, nil
		}
	}
	// No other key on its lines: with its comma, and with the lines if that leaves nothing on them.
	after := to
	for after < len(l.src) && isBlank(l.src[after]) {
		after++
	}
	if after < len(l.src) && l.src[after] == ',' {
		to = after + 1
	}
	if len(bytes.TrimSpace(l.src[l.lineStart(from):from])) > 0 || len(bytes.TrimSpace(l.src[to:l.lineEnd(to)])) > 0 {
		return splice{from, to, ""}, nil
	}
	return l.wholeLines(from, to), nil
}

func (l layout) removeLines(m *yaml.Node, from, to int) (splice, error) {
	if len(m.Content) == 2 {
		return splice{}, byHand(m, "would be empty without it")
	}
	if len(bytes.TrimSpace(l.src[l.lineStart(from):from])) > 0 {
		return splice{}, byHand(m, "begins in a line with something else")
	}
	return l.wholeLines(from, to), nil
}

// wholeLines takes out the lines from from to to.
func (l layout) wholeLines(from, to int) splice {
	from, to = l.lineStart(from), l.lineEnd(to)
	if i := bytes.IndexByte(l.src[to:], '\n'); i >= 0 {
		return splice{from, to + i + 1, ""}
	}
	return splice{from, to, ""}
}

func lineNumber(l layout, at int) int {
	i, found := slices.BinarySearch(l.starts, at)
	if found {
		return i + 1
	}
	return i
}

// inPlace is where a value stands that may be replaced: on one line, with
// nothing that others refer to.
func (l layout) inPlace(n *yaml.Node) (from, to int, err error) {
	from, ok := l.start(n)
	to, ok2 := l.end(n)
	switch {
	case n.Kind == yaml.ScalarNode && n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		return 0, 0, byHand(n, "is a block of text (| or >)")
	case n.Anchor != "":
		return 0, 0, byHand(n, "carries the anchor &"+n.Anchor+", which others may refer to")
	case !ok || !ok2 || from > to:
		return 0, 0, byHand(n, "is written in a way that cannot be changed in place")
	case bytes.IndexByte(l.src[from:to], '\n') >= 0:
		return 0, 0, byHand(n, "is written over several lines")
	}
	return from, to, nil
}

// refusal is a place that an edit does not touch.
type refusal struct {
	line, col int
	what      string
}

func (e *refusal) Error() string { return fmt.Sprintf("%s: %v", e.what, ErrByHand) }

func (e *refusal) Unwrap() error { return ErrByHand }

func byHand(n *yaml.Node, what string) error { return &refusal{n.Line, n.Column, what} }
