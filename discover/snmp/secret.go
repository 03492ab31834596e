package snmp

import (
	"fmt"
	"log/slog"
)

// Secret is a community or a passphrase. However it is printed, logged or
// marshalled, it reads (hidden); string(s) gives its text.
type Secret string

const hidden = "(hidden)"

// Format answers every verb of package fmt alike.
func (Secret) Format(f fmt.State, _ rune) { fmt.Fprint(f, hidden) }

// String is for callers that ask a Stringer without package fmt.
func (Secret) String() string { return hidden }

// LogValue hides the text from log/slog.
func (Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

// MarshalText hides the text from encoding/json and the like.
func (Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }
