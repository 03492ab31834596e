package inventory

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// MaxText is how many characters of a device's own words are kept for people.
const MaxText = 60

// Clean makes a device's words fit for a line: trailing NULs and blanks go,
// control characters, line breaks and characters that change the direction of
// text become one blank, invalid UTF-8 becomes U+FFFD, and what is longer than MaxText
// characters is cut with an ellipsis. It does not escape: that is for the output.
// Clean(Clean(s)) equals Clean(s), so cleaned forms can be compared.
func Clean(s string) string { return CleanTo(s, MaxText) }

// CleanTo is Clean with another length, in characters; at least 1.
func CleanTo(s string, most int) string {
	var b strings.Builder
	n, blank := 0, false
	for _, r := range s { // invalid bytes arrive as U+FFFD
		if r == 0 || unicode.IsControl(r) || unicode.IsSpace(r) || steersText(r) {
			blank = n > 0
			continue
		}
		if n >= most {
			return cut(b.String(), most)
		}
		if blank {
			if n+1 >= most {
				return cut(b.String(), most)
			}
			b.WriteByte(' ')
			n++
			blank = false
		}
		b.WriteRune(r)
		n++
	}
	return b.String()
}

func cut(s string, most int) string {
	for utf8.RuneCountInString(s) > max(most-1, 0) {
		_, size := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-size]
	}
	return strings.TrimRight(s, " ") + "…"
}

// steersText reports the characters that reorder, join or hide text (Unicode
// categories Cf, and the line and paragraph separators).
func steersText(r rune) bool {
	return unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029'
}
