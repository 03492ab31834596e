// Package report writes what a run found and what the logbook holds: text for
// people, 80 columns wide, and JSON by the contract. It only renders.
//
// Each subject has a function for text and one for JSON: RunText and RunJSON for
// a run, and the like for what "show" and "check" print. ParseRun reads back what
// RunJSON wrote.
package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"boundwalk/cmd/internal/pass"
	"boundwalk/diff"
	"boundwalk/inventory"

	"github.com/mattn/go-runewidth"
)

// Style is how text is written.
type Style struct {
	Color  bool
	Width  int // of running text, in columns; zero means 80
	Tables int // the most for a table; zero: as wide as it is, for a pipe
}

func (s Style) width() int {
	if s.Width == 0 {
		return 80
	}
	return max(s.Width, 40)
}

// Codes of ECMA-48 for text.
const (
	bold   = "\x1b[1m"
	red    = "\x1b[31m"
	yellow = "\x1b[33m"
	faint  = "\x1b[2m"
	reset  = "\x1b[0m"
)

func (s Style) paint(code, text string) string {
	if !s.Color || text == "" {
		return text
	}
	return code + text + reset
}

// page collects lines; the first write error ends it.
type page struct {
	w     *bufio.Writer
	style Style
}

func newPage(w io.Writer, s Style) *page { return &page{bufio.NewWriter(w), s} }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p.w, format+"\n", args...) }

// RunText writes one run for people: what to do first comes first.
func RunText(w io.Writer, r *pass.Result, style Style) error {
	p := newPage(w, style)
	s := r.Snapshot
	p.line("%s", style.paint(bold, fmt.Sprintf("%s, run %d", r.Plan.Site.Name, r.ID)))
	p.line("%s, %s", Clock(s.Finished, r.Plan.Site.Location), Took(s.Finished.Sub(s.Started)))
	p.line("")
	p.summary(r)
	shown := withoutHushed(r.Findings, r.Hushed)
	if blind := NotLooked(r.Plan, s); len(blind) > 0 && len(r.Findings) == 0 {
		p.wrap("", "Nothing is known against the plan, but "+diff.Plural(len(blind), "planned device", "planned devices")+
			" could not be looked for: "+someNames(blind)+".")
		p.line("")
	} else {
		p.Findings(shown, r.Hushed, r.Plan.Site.Location)
	}
	p.Power(s)
	p.coverage(s)
	return p.w.Flush()
}

func withoutHushed(fs []diff.Finding, hushed map[string]string) []diff.Finding {
	var out []diff.Finding
	for _, f := range fs {
		if _, quiet := hushed[f.Key]; !quiet {
			out = append(out, f)
		}
	}
	return out
}

// present says who is there; what may rightly be away is not held against the site.
func present(n inventory.Headcount) string {
	line := fmt.Sprintf("%d of %d planned devices are there", n.There, n.Planned)
	if n.Away > 0 {
		line += fmt.Sprintf(", %d more away", n.Away)
	}
	return fmt.Sprintf("%s; %d unknown", line, n.Unknown)
}

func (p *page) summary(r *pass.Result) {
	s := r.Snapshot
	p.wrap("", present(s.Headcount())+counted(s)+".")
	if r.Settling {
		p.wrap("", "This machine has just started: nothing is called missing until the site has had time to come up.")
	}
	p.line("")
}

// Findings writes the findings under their severity, most urgent first. Hushed
// has the keys of those that are quiet, with the reason: what of them is not
// among the findings is counted.
func (p *page) Findings(fs []diff.Finding, hushed map[string]string, loc *time.Location) {
	quiet := len(hushed)
	for _, f := range fs {
		if _, ok := hushed[f.Key]; ok {
			quiet--
		}
	}
	switch {
	case len(fs) == 0 && quiet > 0:
		p.line("As planned, but for what is hushed.")
		p.line("")
	case len(fs) == 0:
		p.line("All as planned.")
		p.line("")
	default:
		p.bySeverity(fs, hushed, loc)
	}
	if quiet > 0 {
		p.wrap("", diff.Plural(quiet, "finding is", "findings are")+" hushed; \"boundwalk show findings --all\" lists them.")
		p.line("")
	}
}

func (p *page) bySeverity(fs []diff.Finding, hushed map[string]string, loc *time.Location) {
	fs = slices.Clone(fs)
	diff.Sort(fs)
	for _, h := range heads {
		of := slices.DeleteFunc(slices.Clone(fs), func(f diff.Finding) bool { return f.Severity != h.severity })
		if len(of) == 0 {
			continue
		}
		p.line("%s", p.style.paint(bold+h.color, fmt.Sprintf("%s (%d)", h.word, len(of))))
		p.line("")
		for len(of) > 0 {
			n := alike(of, hushed)
			if n < leastAlike {
				n = 1
				p.finding(of[0], hushed, loc)
			} else {
				p.together(of[:n], loc)
			}
			of = of[n:]
		}
	}
}

// heads are the words over the findings of each severity.
var heads = []struct {
	severity    diff.Severity
	word, color string
}{{diff.Urgent, "Now", red}, {diff.Warning, "Soon", yellow}, {diff.Note, "Good to know", faint}}

func (p *page) finding(f diff.Finding, hushed map[string]string, loc *time.Location) {
	p.wrap("  ", headline(f))
	for _, x := range particulars(f, loc) {
		p.field(x.Name, x.Text)
	}
	if why, quiet := hushed[f.Key]; quiet {
		p.field("hushed", cmp.Or(why, "without a reason"))
	}
	p.line("")
}

func headline(f diff.Finding) string {
	title := f.Title()
	if f.Where != "" && f.Where != f.Subject && !strings.Contains(title, f.Where) {
		title += " (" + f.Where + ")"
	}
	return title
}

// particular is one thing told of a finding, under its word.
type particular struct{ Name, Text string }

// particulars is what a finding tells below its headline; what is empty is left out.
func particulars(f diff.Finding, loc *time.Location) []particular {
	since := ""
	if !f.Since.IsZero() {
		since = Clock(f.Since, loc)
	}
	return slices.DeleteFunc([]particular{{"planned", f.Expected}, {"found", observed(f)}, {"since", since}, {"behind", strings.Join(f.Behind, ", ")},
		{"do", f.Advice}, {"caution", f.Caution}, {"key", f.Key}}, func(p particular) bool { return p.Text == "" })
}

// observed is what was found, with how that is known.
func observed(f diff.Finding) string {
	if f.Basis != "" && !strings.Contains(f.Observed, string(f.Basis)) {
		return f.Observed + " (" + string(f.Basis) + ")"
	}
	return f.Observed
}

func (p *page) field(name, text string) {
	p.hang(fmt.Sprintf("    %-9s", name), text)
}

// wrap writes text with the same indent on every line.
func (p *page) wrap(indent, text string) { p.hang(indent, text) }

// hang writes text behind a head, the following lines as deep as the head is wide.
func (p *page) hang(head, text string) {
	deep := strings.Repeat(" ", runewidth.StringWidth(head))
	room := p.style.width() - len(deep)
	line, lead := "", head
	for word := range strings.FieldsSeq(text) {
		if line != "" && runewidth.StringWidth(line)+1+runewidth.StringWidth(word) > room {
			p.line("%s%s", p.lead(lead, head), line)
			line, lead = "", deep
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	p.line("%s%s", p.lead(lead, head), line)
}

func (p *page) lead(lead, head string) string {
	if lead == head && strings.TrimSpace(head) != "" {
		return p.style.paint(faint, lead)
	}
	return lead
}

// Power writes the supplies, each with what it gives and its budget, and the UPSes.
func (p *page) Power(s *inventory.Snapshot) {
	if len(s.Supplies)+len(s.UPSes) == 0 {
		return
	}
	p.line("%s", p.style.paint(bold, "Power"))
	p.line("")
	if len(s.Supplies) > 0 {
		t := newTable("supply", "gives", "known by", "reserved", "budget", "share")
		for i := range s.Supplies {
			t.row(supplyCells(&s.Supplies[i], s.SeveralSupplies(s.Supplies[i].Switch))...)
		}
		t.write(p, "  ")
		p.line("")
	}
	if len(s.UPSes) > 0 {
		upsTable(s).write(p, "  ")
		p.line("")
	}
}

// coverage writes what could not be looked at, and stays silent on the rest.
func (p *page) coverage(s *inventory.Snapshot) {
	lines := unseen(s)
	if len(lines) == 0 {
		return
	}
	p.line("%s", p.style.paint(bold, "Not looked at, or only in part"))
	p.line("")
	for _, l := range lines {
		p.hang("  - ", l)
	}
	p.line("")
}

func unseen(s *inventory.Snapshot) []string {
	var lines []string
	for _, c := range s.Coverage {
		switch c.Result {
		case inventory.Partial, inventory.Refused, inventory.NoAnswer:
			lines = append(lines, fmt.Sprintf("%s (%s): %s%s", c.What(), c.Source, resultWords[c.Result], because(c.Why)))
		case inventory.Skipped:
			if c.Why != "" && c.Source != "login" {
				lines = append(lines, fmt.Sprintf("%s (%s): not asked%s", c.What(), c.Source, because(c.Why)))
			}
		}
	}
	return append(lines, s.Capped...)
}

var resultWords = map[inventory.Result]string{inventory.Partial: "in part", inventory.Refused: "refused", inventory.NoAnswer: "no answer",
	inventory.Complete: "complete", inventory.NotOffered: "not offered", inventory.Skipped: "not asked"}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ", " + why
}

// Clock is a time for people, in the site's zone: "Wed 25 Nov 2026 08:00".
func Clock(t time.Time, loc *time.Location) string {
	if loc == nil {
		loc = time.UTC
	}
	return t.In(loc).Format("Mon 2 Jan 2006 15:04")
}

// Took is a short duration for people.
func Took(d time.Duration) string {
	switch {
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", d.Seconds())
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()+0.5))
	}
	return fmt.Sprintf("%d min", int(d.Minutes()+0.5))
}

// Ago is a span for people, in one unit: "9 days", "3 h".
func Ago(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "under a minute"
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}
