package report

import (
	"fmt"
	"io"
)

// Judged writes one thing that was looked at: pass, warn, fail or unknown,
// what was found, and below it what to do, where there is anything.
func Judged(w io.Writer, state, subject, found, do string, style Style) error {
	p := newPage(w, style)
	tone := map[string]string{"fail": red, "warn": yellow}[state]
	word := fmt.Sprintf("%-8s", state)
	if tone != "" {
		word = style.paint(tone, word)
	}
	p.hang("  "+word, subject+": "+found)
	if do != "" {
		p.hang("          do  ", do)
	}
	return p.w.Flush()
}
