package report

import (
	"slices"
	"strings"

	"github.com/mattn/go-runewidth"
)

// table lines up cells in columns. Cells that start with a digit, and "-",
// stand to the right of a column whose name is in right.
type table struct {
	head  []string
	rows  [][]string
	notes map[int]string // by row: running text below it
	right map[string]bool
	// spare names columns that a narrow terminal does without, the first first.
	spare []string
}

func newTable(head ...string) *table {
	t := &table{head: head, right: map[string]bool{}}
	for _, h := range []string{"gives", "reserved", "budget", "share", "draws", "limit", "peak", "speed", "MACs", "uptime", "findings",
		"devices", "unknown", "run"} {
		t.right[h] = true
	}
	return t
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// below puts running text below the last row, a little deeper.
func (t *table) below(text string) {
	if t.notes == nil {
		t.notes = map[int]string{}
	}
	t.notes[len(t.rows)-1] = text
}

func (t *table) write(p *page, indent string) {
	widths := t.widths()
	for _, name := range t.spare {
		if p.style.Tables == 0 || len(indent)+total(widths) <= p.style.Tables {
			break
		}
		t.drop(name)
		widths = t.widths()
	}
	p.line("%s%s", indent, p.style.paint(faint, t.format(t.head, widths)))
	for i, r := range t.rows {
		p.line("%s%s", indent, t.format(r, widths))
		if n := t.notes[i]; n != "" {
			p.wrap(indent+"    ", n)
		}
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

func (t *table) widths() []int {
	widths := make([]int, len(t.head))
	for _, r := range append([][]string{t.head}, t.rows...) {
		for i, c := range r {
			widths[i] = max(widths[i], runewidth.StringWidth(c))
		}
	}
	return widths
}

func total(widths []int) int {
	sum := 2 * (len(widths) - 1)
	for _, w := range widths {
		sum += w
	}
	return sum
}

// dropEmpty takes the columns away in which no row has anything.
func (t *table) dropEmpty() {
	for i := len(t.head) - 1; i >= 0; i-- {
		if !slices.ContainsFunc(t.rows, func(r []string) bool { return r[i] != dash && r[i] != "" }) {
			t.drop(t.head[i])
		}
	}
}

// drop takes a column away.
func (t *table) drop(name string) {
	i := slices.Index(t.head, name)
	if i < 0 {
		return
	}
	t.head = slices.Delete(slices.Clone(t.head), i, i+1)
	for k, r := range t.rows {
		t.rows[k] = slices.Delete(slices.Clone(r), i, i+1)
	}
}
