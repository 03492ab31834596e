package report

import (
	"strings"

	"github.com/mattn/go-runewidth"
)

// table lines up cells in columns. Cells that start with a digit, and "-",
// stand to the right of a column whose name is in right.
type table struct {
	head  []string
	rows  [][]string
	right map[string]bool
}

func newTable(head ...string) *table {
	t := &table{head: head, right: map[string]bool{}}
	for _, h := range []string{"gives", "reserved", "budget", "share", "draws", "limit", "peak", "speed", "MACs", "uptime", "findings", "devices", "unknown", "run"} {
		t.right[h] = true
	}
	return t
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) write(p *page, indent string) {
	widths := make([]int, len(t.head))
	for _, r := range append([][]string{t.head}, t.rows...) {
		for i, c := range r {
			widths[i] = max(widths[i], runewidth.StringWidth(c))
		}
	}
	p.line("%s%s", indent, p.style.paint(faint, t.format(t.head, widths)))
	for _, r := range t.rows {
		p.line("%s%s", indent, t.format(r, widths))
	}
}

func (t *table) format(cells []string, widths []int) string {
	var b strings.Builder
	for i, c := range cells {
		pad := strings.Repeat(" ", widths[i]-runewidth.StringWidth(c))
		if i > 0 {
			b.WriteString("  ")
		}
		if t.right[t.head[i]] {
			b.WriteString(pad + c)
		} else {
			b.WriteString(c + pad)
		}
	}
	return strings.TrimRight(b.String(), " ")
}
