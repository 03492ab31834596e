package report

import (
	"fmt"
	"io"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory/planfile"
)

// PlanKeys writes every key of the plan file, a mapping at a time.
func PlanKeys(w io.Writer, sections []planfile.Section, style Style) error {
	p := newPage(w, style)
	for i, s := range sections {
		if i > 0 {
			p.line("")
		}
		p.head(s.Title())
		if s.Doc != "" {
			p.wrap("  ", s.Doc)
			p.line("")
		}
		for _, e := range s.Keys {
			p.hang(fmt.Sprintf("  %-16s", e.Key+" "), e.Text())
		}
	}
	return p.w.Flush()
}

// Kinds writes every kind of finding with its default severity.
func Kinds(w io.Writer, style Style) error {
	p := newPage(w, style)
	heads := map[diff.Severity]string{diff.Urgent: "urgent unless the plan says otherwise", diff.Warning: "warning", diff.Note: "note"}
	var last diff.Severity
	for _, k := range diff.Kinds() {
		if k.Severity() != last {
			if last != "" {
				p.line("")
			}
			last = k.Severity()
			p.head(heads[last])
		}
		p.hang(fmt.Sprintf("  %-24s", k), strings.ReplaceAll(k.Title(), ": …", ""))
	}
	return p.w.Flush()
}
