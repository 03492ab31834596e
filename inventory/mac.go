package inventory

import (
	"cmp"
	"errors"
	"fmt"
	"strings"
)

// MAC is a 48-bit address as in IEEE 802. Its zero value is no address and
// says so: IsValid is false. It compares with == and serves as a map key.
type MAC [6]byte

// ErrMAC is returned when a text is no MAC address in any of the accepted styles.
var ErrMAC = errors.New("not a MAC address")

// ParseMAC reads twelve hexadecimal digits in the styles that people and
// devices write: 00:00:5e:00:53:01, 00-00-5E-00-53-01, 0000.5e00.5301 and
// 00005e005301, in any case. A shortened group (00:00:5e:0:53:1) is refused,
// since where the missing digit belongs is a guess.
func ParseMAC(s string) (MAC, error) {
	var m MAC
	groups, width := []string{s}, 12
	for _, style := range []struct {
		sep   string
		width int
	}{{":", 2}, {"-", 2}, {".", 4}} {
		if strings.Contains(s, style.sep) {
			groups, width = strings.Split(s, style.sep), style.width
			break
		}
	}
	if len(groups)*width != 12 {
		return MAC{}, fmt.Errorf("%q: %w", s, ErrMAC)
	}
	digits := 0
	for _, g := range groups {
		if len(g) != width {
			return MAC{}, fmt.Errorf("%q: %w: each group has %d digits", s, ErrMAC, width)
		}
		for _, c := range []byte(g) {
			v, ok := hexDigit(c)
			if !ok {
				return MAC{}, fmt.Errorf("%q: %w", s, ErrMAC)
			}
			m[digits/2] = m[digits/2]<<4 | v
			digits++
		}
	}
	return m, nil
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	}
	return 0, false
}

// String is the form with colons in lower case, or "" for the zero value.
func (m MAC) String() string {
	if !m.IsValid() {
		return ""
	}
	return fmt.Sprintf("%02x:%02x:%02x:%02x:%02x:%02x", m[0], m[1], m[2], m[3], m[4], m[5])
}

// IsValid reports whether m is an address at all: not the zero value.
func (m MAC) IsValid() bool { return m != MAC{} }

// IsLocal reports whether the address is locally administered (IEEE 802, the
// second lowest bit of the first octet): made up by software, so that no maker
// can be told from it.
func (m MAC) IsLocal() bool { return m[0]&2 != 0 }

// IsMulticast reports whether the address names a group, broadcast included.
func (m MAC) IsMulticast() bool { return m[0]&1 != 0 }

// Compare orders addresses by their octets.
func (m MAC) Compare(o MAC) int {
	for i := range m {
		if c := cmp.Compare(m[i], o[i]); c != 0 {
			return c
		}
	}
	return 0
}

// MarshalText gives the form with colons.
func (m MAC) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what ParseMAC reads; an empty text is the zero value.
func (m *MAC) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*m = MAC{}
		return nil
	}
	p, err := ParseMAC(string(b))
	if err != nil {
		return err
	}
	*m = p
	return nil
}
