package login

import (
	"fmt"
	"io"
	"log/slog"
)

const hidden = "(hidden)"

// Secret is a password or community that prints as (hidden) through fmt,
// log/slog, encoding/json and every other text encoding. Its zero value is not
// set, which is not the same as an empty password. Copies share one text.
type Secret struct {
	// Two pointers, so that fmt shows an address, not the text, where a Secret sits in
	// a field that it may not call methods on: it follows one, for a verb that does not fit.
	text **[]byte
}

// NewSecret keeps a copy of text.
func NewSecret(text string) Secret {
	b := []byte(text)
	p := &b
	return Secret{&p}
}

// IsSet reports whether there is a text, be it empty, and it was not wiped.
func (s Secret) IsSet() bool { return s.text != nil && **s.text != nil }

// Reveal is the text itself, "" where none is set. The string that it makes
// cannot be wiped: keep it no longer than one attempt.
func (s Secret) Reveal() string {
	if !s.IsSet() {
		return ""
	}
	return string(**s.text)
}

// Wipe overwrites the text for this Secret and all its copies, which are then
// not set. Strings made by Reveal, and what libraries copied of them, stay
// until the garbage collector reuses their memory.
func (s Secret) Wipe() {
	if s.text == nil {
		return
	}
	clear(**s.text)
	**s.text = nil
}

// Format prints (hidden) for every verb and flag.
func (Secret) Format(f fmt.State, _ rune) { io.WriteString(f, hidden) }

// String hides the text.
func (Secret) String() string { return hidden }

// LogValue hides the text from slog.
func (Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

// MarshalText hides the text from encoding/json and all that uses text forms.
func (Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }
