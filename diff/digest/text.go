package digest

import (
	"fmt"
	"math"
	"strings"

	"github.com/mattn/go-runewidth"
)

// columns is the width of the text part: what mail programs quote without breaking.
const columns = 72

// text writes the page as plain text.
func (p page) text() string {
	var t textPage
	t.wrap("", p.Title)
	t.line(strings.Repeat("=", min(runewidth.StringWidth(p.Title), columns)))
	t.line("")
	for _, s := range p.Intro {
		t.wrap("", s)
	}
	for _, s := range p.Notices {
		t.wrap("! ", s)
	}
	for _, s := range p.Sections {
		t.section(s)
	}
	t.line("")
	t.wrap("-- ", p.Foot)
	return t.String()
}

// textPage collects lines.
type textPage struct{ strings.Builder }

func (t *textPage) line(s string) {
	t.WriteString(strings.TrimRight(s, " "))
	t.WriteByte('\n')
}

func (t *textPage) section(s section) {
	t.line("")
	t.line(s.Title)
	t.line(strings.Repeat("-", min(runewidth.StringWidth(s.Title), columns)))
	if s.Lead != "" {
		t.wrap("", s.Lead)
	}
	for i, it := range s.Items {
		if i > 0 {
			t.line("")
		}
		t.item(it)
	}
	for _, b := range s.Bars {
		t.wrap("  "+b.text()+" ", b.Name)
		t.wrap(strings.Repeat(" ", barCells+5), b.Figures)
	}
	t.rows(s)
	if len(s.Foot) > 0 && len(s.Items)+len(s.Bars) > 0 {
		t.line("")
	}
	for _, f := range s.Foot {
		t.wrap("", f)
	}
}

// rows stand under one another where their heads are short words; heads that
// are names may be of any length.
func (t *textPage) rows(s section) {
	for _, r := range s.Rows {
		if s.Named() {
			t.wrap("  - ", r.Head+": "+r.Text)
			continue
		}
		t.wrap(fmt.Sprintf("  %-*s ", shortHead+1, r.Head+":"), r.Text)
	}
}

func (it item) since() string {
	if it.Fresh {
		return "new, since " + it.When
	}
	return "since " + it.When
}

func (t *textPage) item(it item) {
	t.wrap(fmt.Sprintf("%-10s ", strings.ToUpper(looks[it.Severity].Word)), it.Title)
	t.wrap("           ", it.since())
	for _, f := range it.Fields {
		t.wrap(fmt.Sprintf("  %-8s ", f.Head+":"), f.Text)
	}
}

// bar length in characters, the frame not counted.
const barCells = 16

// text is the bar: = up to the present draw, + up to the peak, . what is left.
func (b bar) text() string {
	cells := func(share float64) int { return int(math.Round(share * barCells)) }
	now, peak := cells(b.Now), cells(b.Peak)
	return "[" + strings.Repeat("=", now) + strings.Repeat("+", max(peak-now, 0)) + strings.Repeat(".", barCells-max(peak, now)) + "]"
}

// wrap writes text behind a head; what follows is as deep as the head is wide.
func (t *textPage) wrap(head, text string) {
	deep := strings.Repeat(" ", runewidth.StringWidth(head))
	room := columns - len(deep)
	line := ""
	put := func() {
		t.line(head + line)
		head, line = deep, ""
	}
	for word := range strings.SplitSeq(text, " ") {
		for runewidth.StringWidth(word) > room { // such as a device's name without a blank
			if line != "" {
				put()
			}
			line = runewidth.Truncate(word, room, "")
			if line == "" {
				break // a room too narrow for one character
			}
			word = word[len(line):]
			put()
		}
		if line != "" && runewidth.StringWidth(line)+1+runewidth.StringWidth(word) > room {
			put()
		}
		if line != "" && word != "" {
			line += " "
		}
		line += word
	}
	if line != "" || text == "" {
		put()
	}
}
