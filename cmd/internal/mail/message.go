// Package mail builds the daemon's mails and hands them to the site's mail
// server or webhook. [Build] makes the bytes, [Send] and [SendRaw] deliver
// them, [Hook] posts JSON, and [NextTry] and [Outdated] are the spool's policy;
// the spool itself lies in the logbook.
//
// All text may come from devices: no name, however odd, can add a header, break
// the MIME structure or make a line too long.
package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	netmail "net/mail"
	"regexp"
	"strings"
	"time"
	"unicode"

	gomail "github.com/wneessen/go-mail"
)

// Message is one mail, before it is built.
type Message struct {
	From    string   // an address, with or without a display name
	To      []string // likewise; at least one. All of them see each other.
	Subject string   // cut after 200 characters
	Text    string   // required
	HTML    string   // "" for a mail with a text part only
	Inline  []Picture

	// MessageID is "left@domain" without the angle brackets. It must be the
	// same at each try of the same mail; see [MessageID].
	MessageID string

	Date time.Time // shown in its own location; required

	// Confidential adds "Sensitivity: Company-Confidential" (RFC 4021), which
	// mail programs show; it protects nothing.
	Confidential bool
}

// Picture is a PNG that the HTML part shows by "cid:" and its CID.
type Picture struct {
	CID string // letters, digits and ".-_@"
	PNG []byte
	Alt string // what it shows, for programs that list the part
}

// MessageID makes the identifier of one mail from what it is about: the same
// site, kind and week (or other occasion) give the same, so that a receiver can
// tell a second copy. The domain is that of from.
func MessageID(site, kind, occasion, from string) string {
	sum := sha256.Sum256([]byte(site + "\x00" + kind + "\x00" + occasion))
	domain := "boundwalk.invalid" // RFC 2606: a name that nobody owns
	if addr, err := address(from); err == nil {
		domain = addr.Address[strings.LastIndexByte(addr.Address, '@')+1:]
	}
	return hex.EncodeToString(sum[:16]) + "@" + domain
}

// Build is the whole mail as RFC 5322 wants it: lines end with CR LF and have
// less than 998 bytes. The same Message always gives the same bytes.
func Build(msg Message) ([]byte, error) {
	if err := validate(msg); err != nil {
		return nil, fmt.Errorf("mail: %w", err)
	}
	m := gomail.NewMsg(gomail.WithNoDefaultUserAgent(), gomail.WithEncoding(gomail.EncodingQP))
	from, to, err := addresses(msg.From, msg.To)
	if err != nil {
		return nil, fmt.Errorf("mail: %w", err)
	}
	m.FromMailAddress(from)
	m.ToMailAddress(to...)
	m.Subject(line(msg.Subject, 200))
	m.SetMessageIDWithValue(msg.MessageID)
	m.SetDateWithValue(msg.Date)
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no holiday notes in reply
	if msg.Confidential {
		m.SetGenHeader("Sensitivity", "Company-Confidential")
	}
	m.SetBodyString(gomail.TypeTextPlain, text(msg.Text))
	if msg.HTML != "" {
		m.AddAlternativeString(gomail.TypeTextHTML, text(msg.HTML))
	}
	for _, pic := range msg.Inline {
		err := m.EmbedReader(pic.CID+".png", bytes.NewReader(pic.PNG),
			gomail.WithFileContentType("image/png"),
			gomail.WithFileContentID("<"+pic.CID+">"),
			gomail.WithFileDescription(line(pic.Alt, 60)), // the library does not fold it
		)
		if err != nil {
			return nil, fmt.Errorf("mail: picture %s: %w", pic.CID, err)
		}
	}
	var raw bytes.Buffer
	if _, err := m.WriteTo(&raw); err != nil {
		return nil, fmt.Errorf("mail: write the message: %w", err)
	}
	return fixBoundaries(raw.Bytes(), msg), nil
}

// chosen finds the boundaries that the library made by chance. It cannot match
// in a body: there "=" is written =3D, or ends base64. In a subject it can, and
// changes those words there.
var chosen = regexp.MustCompile(`boundary=([0-9a-f]{60})`)

// fixBoundaries replaces them, since a retry must send what was sent before and
// the library takes one fixed boundary for all depths. The new ones depend on
// the bodies, so no body can hold its own.
func fixBoundaries(raw []byte, msg Message) []byte {
	sum := sha256.Sum256([]byte(msg.MessageID + "\x00" + msg.Text + "\x00" + msg.HTML))
	for i, found := range chosen.FindAllSubmatch(bytes.Clone(raw), -1) {
		raw = bytes.ReplaceAll(raw, found[1], fmt.Appendf(nil, "part-%d-%x", i, sum[:16]))
	}
	return raw
}

var (
	messageID = regexp.MustCompile(`^[A-Za-z0-9._+=-]+@[A-Za-z0-9.-]+$`)
	contentID = regexp.MustCompile(`^[A-Za-z0-9._@-]{1,64}$`)
	pngStart  = []byte("\x89PNG\r\n\x1a\n") // PNG specification, section 5.2
)

// maxMessageID bounds a Message-ID, in bytes: with its header it stays on one line.
const maxMessageID = 128 + 1 + 253

func validate(msg Message) error {
	var problems []error
	wrong := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	if msg.Text == "" {
		wrong("a message needs a text part")
	}
	if msg.Date.IsZero() {
		wrong("a message needs a date")
	}
	if len(msg.MessageID) > maxMessageID || !messageID.MatchString(msg.MessageID) {
		wrong("message ID %.80q: want left@domain", msg.MessageID)
	}
	if len(msg.Inline) > 0 && msg.HTML == "" {
		wrong("pictures need an HTML part that shows them")
	}
	for _, pic := range msg.Inline {
		if !contentID.MatchString(pic.CID) {
			wrong("picture %.80q: a CID has letters, digits and .-_@ only", pic.CID)
		}
		if !bytes.HasPrefix(pic.PNG, pngStart) {
			wrong("picture %.80q: not a PNG", pic.CID)
		}
	}
	return errors.Join(problems...)
}

// addresses parses sender and receivers.
func addresses(from string, to []string) (*netmail.Address, []*netmail.Address, error) {
	sender, err := address(from)
	if err != nil {
		return nil, nil, fmt.Errorf("sender: %w", err)
	}
	if len(to) == 0 {
		return nil, nil, errors.New("a message needs a receiver")
	}
	receivers := make([]*netmail.Address, len(to))
	for i, one := range to {
		if receivers[i], err = address(one); err != nil {
			return nil, nil, fmt.Errorf("receiver: %w", err)
		}
	}
	return sender, receivers, nil
}

// address parses one address. RFC 5321, section 4.5.3.1.3, allows 254 bytes.
func address(one string) (*netmail.Address, error) {
	addr, err := netmail.ParseAddress(one)
	if err != nil {
		return nil, fmt.Errorf("address %.80q: %w", one, err)
	}
	if len(addr.Address) > 254 {
		return nil, fmt.Errorf("address %.80q: longer than 254 bytes", one)
	}
	for _, r := range addr.Address {
		if r <= ' ' || r > '~' {
			return nil, fmt.Errorf("address %.80q: only plain ASCII can be mailed to (write a foreign domain in its xn-- form)", one)
		}
	}
	addr.Name = line(addr.Name, 60)
	return addr, nil
}

// line makes text fit for one line of a header: no control characters, nothing
// that turns the direction of writing, at most so many characters.
func line(s string, most int) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Bidi_Control, r):
			return -1
		case unicode.IsControl(r) || unicode.IsSpace(r): // with U+2028 and U+2029
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	s = strings.Join(strings.Fields(s), " ")
	// "=?" begins an encoded word (RFC 2047), which may hold a line break.
	s = strings.ReplaceAll(s, "=?", "= ?")
	if runes := []rune(s); len(runes) > most {
		s = string(runes[:most-1]) + "…"
	}
	return s
}

// text keeps what a body may hold: valid UTF-8, line ends and tabs, but none of
// the other control characters.
func text(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' {
			return '\uFFFD'
		}
		return r
	}, strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n"))
}
