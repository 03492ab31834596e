package inventory_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"boundwalk/inventory"
)

// The names of field case FC-11, as real agents sent them.
func TestClean(t *testing.T) {
	for _, tt := range []struct{ name, in, want string }{
		{"trailing NUL", "port0\x00", "port0"},
		{"no UTF-8", "MC\xb7\xbe\xd2", "MC\ufffd\ufffd\ufffd"},
		{"markup is left to the output", "core<b>x</b>&#435;", "core<b>x</b>&#435;"},
		{"line break and a header", "sw1\r\nBcc: x@example.net", "sw1 Bcc: x@example.net"},
		{"very long", strings.Repeat("A", 1000), strings.Repeat("A", 59) + "…"},
		{"empty", "", ""},
		{"control bytes in front", "\x01\x01Fa0/1", "Fa0/1"},
		{"right-to-left override", "cam\u202egpj.exe", "cam gpj.exe"},
		{"blanks only", " \t\x00", ""},
		{"exactly as long as allowed", strings.Repeat("é", 60), strings.Repeat("é", 60)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := inventory.Clean(tt.in); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

func FuzzClean(f *testing.F) {
	f.Add("port0\x00")
	f.Add("sw1\r\nBcc: x")
	f.Add(strings.Repeat("a ", 200))
	f.Fuzz(func(t *testing.T, s string) {
		got := inventory.Clean(s)
		if !utf8.ValidString(got) || utf8.RuneCountInString(got) > inventory.MaxText || strings.ContainsAny(got, "\r\n\x00\t") {
			t.Errorf("%q became %q", s, got)
		}
		if again := inventory.Clean(got); again != got {
			t.Errorf("cleaned twice, %q became %q", got, again)
		}
	})
}
