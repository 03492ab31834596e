package sheet

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/mattn/go-runewidth"
)

// confidential stands on every form of the sheet but CSV, which has no place for it.
const confidential = "Confidential: it tells where things are and how they are reached."

func (s Sheet) madeWords() string { return "As of " + s.Made.Format("2 January 2006") }

// Text writes the sheet for a terminal or a printer with fixed pitch.
func (s Sheet) Text(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s\n%s. %s\n", s.Site, s.madeWords(), confidential)
	for _, t := range s.Tables {
		fmt.Fprintf(b, "\n%s\n\n", t.Title)
		t.text(b)
		for i, n := range t.Notes {
			head := "  "
			switch {
			case t.Numbers:
				head = fmt.Sprintf("%3d. ", i+1)
			case len(t.Columns) == 0:
				head = "  - "
			}
			wrap(b, head, n)
		}
	}
	return b.Flush()
}

func (t Table) text(b *bufio.Writer) {
	if len(t.Rows) == 0 {
		return
	}
	widths := make([]int, len(t.Columns))
	for i, c := range t.Columns {
		widths[i] = runewidth.StringWidth(c.Name)
		for _, r := range t.Rows {
			widths[i] = max(widths[i], runewidth.StringWidth(r[i]))
		}
	}
	line := func(cells []string) {
		var l strings.Builder
		for i, c := range cells {
			pad := strings.Repeat(" ", widths[i]-runewidth.StringWidth(c))
			if t.Columns[i].Right {
				c, pad = pad+c, ""
			}
			l.WriteString("  " + c + pad)
		}
		fmt.Fprintln(b, strings.TrimRight(l.String(), " "))
	}
	line(t.names())
	for _, r := range t.Rows {
		line(r)
	}
	if len(t.Notes) > 0 {
		fmt.Fprintln(b)
	}
}

func (t Table) names() []string {
	out := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		out[i] = c.Name
	}
	return out
}

// wrap writes words below one another, 80 columns wide.
func wrap(b *bufio.Writer, head, text string) {
	line, indent := head, strings.Repeat(" ", len(head))
	first := true
	for word := range strings.FieldsSeq(text) {
		if !first && runewidth.StringWidth(line)+1+runewidth.StringWidth(word) > 80 {
			fmt.Fprintln(b, line)
			line, first = indent, true
		}
		if !first {
			line += " "
		}
		line, first = line+word, false
	}
	fmt.Fprintln(b, line)
}

// Markdown writes the sheet as GitHub-flavoured tables.
func (s Sheet) Markdown(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "# %s\n\n%s. **%s**\n", markdown(s.Site), s.madeWords(), confidential)
	for _, t := range s.Tables {
		fmt.Fprintf(b, "\n## %s\n\n", markdown(t.Title))
		for i, n := range t.Notes {
			switch {
			case t.Numbers:
				fmt.Fprintf(b, "%d. %s\n", i+1, markdown(n))
			case len(t.Columns) == 0:
				fmt.Fprintf(b, "- %s\n", markdown(n))
			default:
				fmt.Fprintf(b, "%s\n\n", markdown(n))
			}
		}
		if len(t.Rows) == 0 {
			continue
		}
		row := func(cells []string) {
			for _, c := range cells {
				fmt.Fprintf(b, "| %s ", markdown(c))
			}
			fmt.Fprintln(b, "|")
		}
		row(t.names())
		for _, c := range t.Columns {
			fmt.Fprint(b, map[bool]string{true: "| ---: ", false: "| --- "}[c.Right])
		}
		fmt.Fprintln(b, "|")
		for _, r := range t.Rows {
			row(r)
		}
	}
	return b.Flush()
}

var markdownSigns = strings.NewReplacer(`\`, `\\`, "|", `\|`, "*", `\*`, "_", `\_`, "`", "\\`", "<", "&lt;", "[", `\[`, "#", `\#`)

func markdown(s string) string { return markdownSigns.Replace(s) }

// CSV writes the rows of the sheet's tables, which must have the same columns:
// those of one part. Where a part has a table for each switch or network, its title
// stands in the first column.
func (s Sheet) CSV(w io.Writer) error {
	c := csv.NewWriter(w)
	var head []string
	same := 0
	for _, t := range s.Tables {
		if len(t.Rows) > 0 && slices.Equal(t.names(), s.Tables[0].names()) {
			same++
		}
	}
	many := same > 1
	for _, t := range s.Tables {
		if len(t.Rows) == 0 {
			continue
		}
		names := t.names()
		switch {
		case head == nil:
			head = names
			if err := c.Write(titled(many, "table", names)); err != nil {
				return err
			}
		case !slices.Equal(head, names):
			continue // sums below the schedule: a spreadsheet makes its own
		}
		for _, r := range t.Rows {
			if err := c.Write(titled(many, t.Title, r)); err != nil {
				return err
			}
		}
	}
	if head == nil { // a list of sentences
		for _, t := range s.Tables {
			for _, n := range t.Notes {
				if err := c.Write([]string{plainCell(n)}); err != nil {
					return err
				}
			}
		}
	}
	c.Flush()
	return c.Error()
}

func titled(many bool, title string, cells []string) []string {
	out := make([]string, 0, len(cells)+1)
	if many {
		out = append(out, plainCell(title))
	}
	for _, c := range cells {
		out = append(out, plainCell(c))
	}
	return out
}

// plainCell keeps a spreadsheet from taking text for a formula.
func plainCell(s string) string {
	if s != "" && s != dash && strings.ContainsAny(s[:1], "=+-@\t\r") {
		return "'" + s
	}
	return s
}
