package digest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// mostItems is how many findings are told in full; the rest is counted.
const mostItems = 12

func (b *builder) sortOpen() {
	fresh := func(e Episode) int {
		if b.fresh(e) {
			return 0
		}
		return 1
	}
	cut := func(e Episode) int {
		if e.Finding.Kind == diff.CutOff {
			return 0 // it explains all the others
		}
		return 1
	}
	for _, list := range [][]Episode{b.open, b.hushed} {
		slices.SortStableFunc(list, func(x, y Episode) int {
			f, g := x.Finding, y.Finding
			return cmp.Or(cmp.Compare(f.Severity.Rank(), g.Severity.Rank()), cmp.Compare(cut(x), cut(y)), cmp.Compare(fresh(x), fresh(y)),
				cmp.Compare(f.Kind, g.Kind), cmp.Compare(f.Subject, g.Subject))
		})
	}
}

func (b *builder) fresh(e Episode) bool { return !e.Opened.Before(b.Since) }

// count is how many open findings have the severity.
func (b *builder) count(s diff.Severity) int {
	n := 0
	for _, e := range b.open {
		if e.Finding.Severity.Rank() == s.Rank() {
			n++
		}
	}
	return n
}

// pressing are the open findings that need a hand; notes do not.
func (b *builder) pressing() []Episode {
	return b.open[:b.count(diff.Urgent)+b.count(diff.Warning)]
}

func (b *builder) title() string {
	year, week, ok := strings.Cut(b.Week, "-W")
	if !ok {
		return inventory.Clean(b.Plan.Site.Name) + ", " + inventory.Clean(b.Week)
	}
	return fmt.Sprintf("%s, week %s of %s", inventory.Clean(b.Plan.Site.Name), strings.TrimPrefix(week, "0"), year)
}

// subject shows on locked screens: it counts, and names nothing.
func (b *builder) subject() string {
	return b.title() + ": " + b.counts()
}

func (b *builder) counts() string {
	var parts []string
	if n := b.count(diff.Urgent); n > 0 {
		parts = append(parts, fmt.Sprintf("%d urgent", n))
	}
	if n := b.count(diff.Warning); n > 0 {
		parts = append(parts, diff.Plural(n, "warning", "warnings"))
	}
	switch {
	case b.Snapshot == nil:
		parts = append([]string{"nothing was looked at"}, parts...)
	case b.stale:
		parts = append([]string{"no run since " + b.Snapshot.Finished.In(b.loc).Format("Mon 2 Jan")}, parts...)
	case len(parts) == 0:
		return "all as planned"
	}
	return strings.Join(parts, ", ")
}

func (b *builder) intro() []string {
	first := b.whole(b.Now) + ". "
	if _, off := b.Since.In(b.loc).Zone(); off != offsetOf(b.Now.In(b.loc)) {
		first = b.whole(b.Now) + "; the clock has changed in between, and times before that show their own offset. "
	}
	if b.Snapshot == nil {
		return []string{first + "No run has come to its end yet, so this says nothing of the site."}
	}
	lines := []string{first + b.present()}
	looked := fmt.Sprintf("Last looked %s", b.at(b.Snapshot.Finished))
	if n := b.Runs.Complete; n > 0 {
		looked += fmt.Sprintf(", %s since %s", diff.Plural(n, "run", "runs"), b.at(b.Since))
	}
	if n := b.Runs.Stopped; n > 0 {
		looked += fmt.Sprintf("; %s before the end", diff.Plural(n, "run was stopped", "runs were stopped"))
	}
	return append(lines, looked+".")
}

// present counts the devices as the last run saw them.
func (b *builder) present() string {
	n := b.Snapshot.Headcount()
	away := ""
	if n.Away > 0 {
		away = fmt.Sprintf("%d more away, ", n.Away)
	}
	return fmt.Sprintf("%d of %s there, %s%d unknown.", n.There, diff.Plural(n.Planned, "planned device is", "planned devices are"), away, n.Unknown)
}

// notices are what puts the rest of the mail in doubt.
func (b *builder) notices() []string {
	var out []string
	if b.Snapshot != nil && b.stale {
		out = append(out, fmt.Sprintf("No run has come to its end for %s: what follows is as of %s.", span(b.Now.Sub(b.Snapshot.Finished)),
			b.at(b.Snapshot.Finished)))
	}
	for _, n := range b.Notices {
		out = append(out, clean(n))
	}
	for _, o := range b.History.Outages {
		if o.To.IsZero() && o.What == "internet" {
			out = append(out, fmt.Sprintf("The internet line has been down since %s.", b.at(o.From)))
		}
	}
	for _, l := range b.Letters {
		s := fmt.Sprintf("The %s mail of %s %s.", letterKinds[l.Kind], b.at(l.Queued), letterStates[l.State])
		if l.Words != "" {
			s = strings.TrimSuffix(s, ".") + ": " + inventory.CleanTo(l.Words, 160)
		}
		out = append(out, s)
	}
	return out
}

var letterKinds = map[string]string{"digest": "weekly", "urgent": "urgent", "over": "all-clear", "test": "test", "webhook": "webhook"}

var letterStates = map[string]string{"failed": "could not be delivered", "dropped": "could not be delivered",
	"queued": "waits for the mail server", "sent": "arrived late"}

// hand is what needs a hand, the most pressing first.
func (b *builder) hand() section {
	s := section{Title: "What needs a hand"}
	list := b.pressing()
	if len(list) == 0 {
		switch {
		case b.Snapshot == nil:
			s.Lead = "Not known before the first run."
		case b.stale:
			s.Lead = "Nothing, as far as the last run could tell."
		case len(b.hushed) > 0:
			s.Lead = "Nothing but what is hushed."
		default:
			s.Lead = "All as planned."
		}
	}
	for _, e := range list[:min(len(list), mostItems)] {
		s.Items = append(s.Items, b.item(e))
	}
	if rest := list[min(len(list), mostItems):]; len(rest) > 0 {
		urgent := 0
		for _, e := range rest {
			if e.Finding.Severity == diff.Urgent {
				urgent++
			}
		}
		more := fmt.Sprintf("%d more", len(rest))
		if urgent > 0 {
			more += fmt.Sprintf(", %d of them urgent", urgent)
		}
		s.Foot = append(s.Foot, more+`: "boundwalk show findings" lists them.`)
	}
	if n := len(b.hushed); n > 0 {
		s.Foot = append(s.Foot, b.hushWords())
	}
	return s
}

func (b *builder) hushWords() string {
	var parts []string
	for _, e := range b.hushed {
		words := clean(e.Finding.Title()) + ", until " + b.at(e.Until)
		if e.Why != "" {
			words += ", " + inventory.CleanTo(e.Why, 80)
		}
		parts = append(parts, words)
	}
	return fmt.Sprintf("Hushed (%d): %s.", len(parts), upTo(parts, 4, "; "))
}

func (b *builder) item(e Episode) item {
	f := e.Finding
	it := item{Severity: f.Severity, Title: b.findingTitle(f), When: b.at(e.Opened), Fresh: b.fresh(e)}
	field := func(head, text string) {
		if text = clean(text); text != "" {
			it.Fields = append(it.Fields, row{head, text})
		}
	}
	observed := f.Observed
	if f.Basis != "" && observed != "" && !strings.Contains(observed, string(f.Basis)) {
		observed += " (" + string(f.Basis) + ")"
	}
	field("planned", f.Expected)
	field("found", observed)
	if len(f.Behind) > 0 {
		field("behind", upTo(f.Behind, 8, ", "))
	}
	field("do", f.Advice)
	field("caution", f.Caution)
	return it
}

func (b *builder) findingTitle(f diff.Finding) string {
	title := clean(f.Title())
	if w := clean(f.Where); w != "" && w != f.Subject && !strings.Contains(title, w) {
		title += " (" + w + ")"
	}
	return title
}
