package lease

import (
	"bytes"
	"errors"
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// iscMarks head the statements that only dhcpd writes.
var iscMarks = [][]byte{[]byte("authoring-byte-order"), []byte("lease "), []byte("ia-na "), []byte("server-duid "), []byte("failover ")}

func isISC(b []byte) bool {
	for line := range bytes.Lines(b) {
		line = bytes.TrimSpace(line)
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		for _, m := range iscMarks {
			if bytes.HasPrefix(line, m) {
				return true
			}
		}
		return false
	}
	return bytes.Contains(b, []byte("dhcpd.leases(5)"))
}

// A statement of dhcpd.leases(5): words, ended by a semicolon or by a block.
type statement struct {
	words []string
	block []statement
}

// is reports whether s begins with the words given.
func (s statement) is(words ...string) bool {
	if len(s.words) < len(words) {
		return false
	}
	for i, w := range words {
		if s.words[i] != w {
			return false
		}
	}
	return true
}

// readISC reads the log of leases of ISC dhcpd, where a later entry of an
// address replaces an earlier one. Only active ones count.
func (k *book) readISC(text string) {
	t := &tokens{text: text}
	for {
		s, err := t.statement(0)
		if errors.Is(err, errEnd) {
			return
		}
		if err != nil {
			k.malformed++ // and where the next statement begins is unknown
			return
		}
		switch {
		case s.is("lease") && len(s.words) == 2:
			k.putISC(s.words[1], s.block, [6]byte{})
		case s.is("ia-na") && len(s.words) == 2 && len(s.words[1]) > 4:
			mac := duidMAC([]byte(s.words[1][4:])) // behind the IAID
			for _, a := range s.block {
				if a.is("iaaddr") && len(a.words) == 2 {
					k.putISC(a.words[1], a.block, mac)
				}
			}
		}
	}
}

func (k *book) putISC(address string, block []statement, mac [6]byte) {
	addr, err := netip.ParseAddr(address)
	if err != nil {
		k.malformed++
		return
	}
	l := Lease{Addr: addr, MAC: mac}
	active := false
	for _, s := range block {
		switch {
		case s.is("binding", "state"):
			active = s.is("binding", "state", "active")
		case s.is("hardware", "ethernet") && len(s.words) == 3:
			l.MAC = parseMAC(s.words[2])
		case s.is("client-hostname") && len(s.words) == 2:
			l.Name = s.words[1]
		case s.is("ends"):
			if l.Expires, err = iscTime(s.words[1:]); err != nil {
				k.malformed++
				return
			}
		}
	}
	if !active {
		delete(k.leases, addr)
		return
	}
	k.put(l)
}

// iscTime reads "never", "epoch SECONDS" or "WEEKDAY DATE TIME" in UTC.
func iscTime(words []string) (time.Time, error) {
	switch {
	case len(words) == 1 && words[0] == "never":
		return time.Time{}, nil
	case len(words) == 2 && words[0] == "epoch":
		n, err := strconv.ParseInt(words[1], 10, 41)
		return time.Unix(n, 0).UTC(), err
	case len(words) == 3:
		return time.Parse("2006/01/02 15:04:05", words[1]+" "+words[2])
	}
	return time.Time{}, errors.New("no time")
}

var (
	errEnd    = errors.New("end of the file")
	errSyntax = errors.New("no statement")
)

const (
	mostDepth = 8  // blocks within blocks
	mostWords = 64 // of one statement
)

// tokens splits the text into words and the marks { } ; as dhcpd's parser does.
type tokens struct{ text string }

// statement reads the next statement. At depth zero the end of the text is
// errEnd; within a block it is a syntax error.
func (t *tokens) statement(depth int) (statement, error) {
	var s statement
	for {
		word, quoted, err := t.next()
		switch {
		case errors.Is(err, errEnd) && (depth > 0 || len(s.words) > 0):
			return s, errSyntax
		case err != nil:
			return s, err
		case quoted:
		case word == ";":
			return s, nil
		case word == "{":
			if depth >= mostDepth {
				return s, errSyntax
			}
			s.block, err = t.block(depth + 1)
			return s, err
		case word == "}":
			return s, errSyntax
		}
		if len(s.words) < mostWords {
			s.words = append(s.words, word)
		}
	}
}

// block reads statements up to the closing brace.
func (t *tokens) block(depth int) ([]statement, error) {
	var out []statement
	for {
		before := t.text
		word, quoted, err := t.next()
		if err != nil {
			return nil, errSyntax
		}
		if word == "}" && !quoted {
			return out, nil
		}
		t.text = before
		s, err := t.statement(depth)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
}

// next takes one word, string or mark off the text.
func (t *tokens) next() (word string, quoted bool, err error) {
	for {
		t.text = strings.TrimLeft(t.text, " \t\r\n")
		if !strings.HasPrefix(t.text, "#") {
			break
		}
		_, t.text, _ = strings.Cut(t.text, "\n")
	}
	if t.text == "" {
		return "", false, errEnd
	}
	switch t.text[0] {
	case '"':
		word, err = t.quoted()
		return word, true, err
	case '{', '}', ';':
		word, t.text = t.text[:1], t.text[1:]
		return word, false, nil
	}
	n := strings.IndexAny(t.text, " \t\r\n{};\"#")
	if n < 0 {
		n = len(t.text)
	}
	word, t.text = t.text[:n], t.text[n:]
	return word, false, nil
}

// quoted takes a string off the text. A backslash stands before an octet in
// three octal digits, or before a character that means itself.
func (t *tokens) quoted() (string, error) {
	var b strings.Builder
	for i := 1; i < len(t.text); i++ {
		switch c := t.text[i]; c {
		case '"':
			t.text = t.text[i+1:]
			return b.String(), nil
		case '\\':
			if i+3 < len(t.text) {
				if n, err := strconv.ParseUint(t.text[i+1:i+4], 8, 8); err == nil {
					b.WriteByte(byte(n))
					i += 3
					continue
				}
			}
			if i++; i < len(t.text) {
				b.WriteByte(t.text[i])
			}
		default:
			b.WriteByte(c)
		}
	}
	return "", errSyntax
}
