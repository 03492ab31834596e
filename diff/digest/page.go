package digest

import (
	"slices"

	"boundwalk/diff"

	"github.com/mattn/go-runewidth"
)

// page is the digest in words, before it is text or HTML. All strings are clean
// and none is escaped.
type page struct {
	Title    string
	Intro    []string
	Notices  []string
	Sections []section
	Foot     string
}

// section shows its parts in the order of the fields.
type section struct {
	Title    string
	Lead     string
	Items    []item
	Bars     []bar
	Pictures []Picture
	Rows     []row
	Foot     []string
}

func (s section) empty() bool {
	return s.Lead == "" && len(s.Items) == 0 && len(s.Bars) == 0 && len(s.Pictures) == 0 && len(s.Rows) == 0 && len(s.Foot) == 0
}

// shortHead is the longest head of a row that is a word of ours and no name.
const shortHead = 8

// Named reports whether the heads of the rows are names.
func (s section) Named() bool {
	return slices.ContainsFunc(s.Rows, func(r row) bool { return runewidth.StringWidth(r.Head) > shortHead })
}

// item is a finding with what to do about it.
type item struct {
	Severity diff.Severity
	Title    string
	When     string
	Fresh    bool // it came since the last digest
	Fields   []row
}

// row is a word and what belongs to it.
type row struct{ Head, Text string }

// bar is a draw against its limit, as shares of it.
type bar struct {
	Name    string
	Figures string
	Now     float64 // 0 to 1
	Peak    float64 // Now to 1
	Full    bool    // near the limit, or beyond
}
