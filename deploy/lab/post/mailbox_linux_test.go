package post

import (
	"bytes"
	"encoding/base64"
	"image/png"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	netmail "net/mail"
	"net/textproto"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/net/html"
)

// letter is a mail out of a mailbox, taken apart.
type letter struct {
	netmail.Header
	subject    string
	text, html string
	pictures   map[string]string // Content-ID -> description
}

// box reads the letters of a mailbox, the oldest first.
func (p *postfix) box(name string) []letter {
	p.t.Helper()
	files, err := filepath.Glob(filepath.Join(p.dir, "boxes", name, "new", "*"))
	p.check(err)
	var all []letter
	for _, f := range files {
		raw, err := os.ReadFile(f)
		p.check(err)
		all = append(all, takeApart(p.t, raw))
	}
	slices.SortStableFunc(all, func(a, b letter) int { return strings.Compare(a.Get("Date"), b.Get("Date")) })
	return all
}

// ids are the Message-IDs in a mailbox, whose number is that of the letters.
func (p *postfix) ids(name string) []string {
	p.t.Helper()
	var ids []string
	for _, l := range p.box(name) {
		ids = append(ids, l.Get("Message-ID"))
	}
	return ids
}

var messageID = regexp.MustCompile(`^<[A-Za-z0-9._-]+@ternquay\.example>$`)

// takeApart reads a mail as a receiver's program does, and fails where it is not
// sound: lines, header, encoding.
func takeApart(t *testing.T, raw []byte) letter {
	t.Helper()
	for l := range bytes.Lines(raw) {
		if len(bytes.TrimRight(l, "\r\n")) >= 998 {
			t.Fatalf("a line of %d bytes", len(l))
		}
		if bytes.ContainsFunc(l, func(r rune) bool { return r > '~' || r < ' ' && r != '\n' && r != '\r' && r != '\t' }) {
			t.Fatalf("line %.100q is no plain ASCII", l)
		}
	}
	m, err := netmail.ReadMessage(bytes.NewReader(raw))
	must(t, err)
	l := letter{Header: m.Header, pictures: map[string]string{}}
	l.subject, err = new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	must(t, err)
	if date, err := m.Header.Date(); err != nil || time.Since(date).Abs() > time.Hour {
		t.Errorf("Date %q: %v", m.Header.Get("Date"), err)
	}
	if id := m.Header.Get("Message-ID"); !messageID.MatchString(id) {
		t.Errorf("Message-ID %q", id)
	}
	if from, err := netmail.ParseAddress(m.Header.Get("From")); err != nil || from.Address != account {
		t.Errorf("From %q: %v", m.Header.Get("From"), err)
	}
	l.part(t, textproto.MIMEHeader(m.Header), m.Body)
	return l
}

// part takes one part, and those in it.
func (l *letter) part(t *testing.T, header textproto.MIMEHeader, body io.Reader) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(header.Get("Content-Type"))
	must(t, err)
	if strings.HasPrefix(kind, "multipart/") {
		for parts := multipart.NewReader(body, params["boundary"]); ; {
			p, err := parts.NextRawPart()
			if err == io.EOF {
				return
			}
			must(t, err)
			l.part(t, p.Header, p)
		}
	}
	switch header.Get("Content-Transfer-Encoding") {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	content, err := io.ReadAll(body)
	must(t, err)
	switch kind {
	case "text/plain", "text/html":
		if !strings.EqualFold(params["charset"], "utf-8") || !utf8.Valid(content) {
			t.Errorf("the %s part is in %q, valid UTF-8: %v", kind, params["charset"], utf8.Valid(content))
		}
		if kind == "text/html" {
			l.html = string(content)
		} else {
			l.text = string(content)
		}
	case "image/png":
		if _, err := png.Decode(bytes.NewReader(content)); err != nil {
			t.Errorf("picture %s: %v", header.Get("Content-ID"), err)
		}
		if how, _, err := mime.ParseMediaType(header.Get("Content-Disposition")); err != nil || how != "inline" {
			t.Errorf("picture %s: disposition %q", header.Get("Content-ID"), header.Get("Content-Disposition"))
		}
		l.pictures[strings.Trim(header.Get("Content-ID"), "<>")] = header.Get("Content-Description")
	default:
		t.Errorf("a part of type %q", kind)
	}
}

// sameInBoth fails where text and HTML of a letter do not say the same, or where
// the HTML shows a picture that is not in the mail.
func (l *letter) sameInBoth(t *testing.T) {
	t.Helper()
	var shown strings.Builder
	hidden := ""
	for z := html.NewTokenizer(strings.NewReader(l.html)); ; {
		switch z.Next() {
		case html.ErrorToken:
			if a, b := wordsOf(l.text), wordsOf(shown.String()); a != b || a == "" {
				t.Errorf("%s: the text says\n%s\nand the HTML shows\n%s", l.subject, l.text, shown.String())
			}
			return
		case html.TextToken:
			if hidden == "" {
				shown.Write(z.Text())
			}
		case html.EndTagToken:
			if name, _ := z.TagName(); string(name) == hidden {
				hidden = ""
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			tag := z.Token()
			if tag.Data == "title" || tag.Data == "style" {
				hidden = tag.Data
			}
			for _, a := range tag.Attr {
				cid, inside := strings.CutPrefix(a.Val, "cid:")
				if _, ok := l.pictures[cid]; a.Key == "src" && (!inside || !ok) {
					t.Errorf("%s: a picture at %q, the mail has %v", l.subject, a.Val, l.pictures)
				}
			}
		}
	}
}

// wordsOf keeps what says something in either form.
func wordsOf(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '%' {
			return r
		}
		return -1
	}, strings.ToLower(s))
}
