package planfile

import (
	"strings"
	"testing"
)

func TestParseName(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		ok   bool
	}{
		"63 letters": {strings.Repeat("é", 63), true}, "64 letters": {strings.Repeat("é", 64), false},
		"none": {"", false}, "one": {"4", true}, "a dash first": {"-cam", false}, "a blank": {"slip cam", false}, "a slash": {"quay/5", false},
		"a mark": {"cafe\u0301-cam", true}, "a line break": {"cam\n", false},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := parseName(c.text)
			if (err == nil) != c.ok || c.ok && got != c.text {
				t.Errorf("got %q, %v", got, err)
			}
		})
	}
}
