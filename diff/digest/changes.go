package digest

import (
	"cmp"
	"fmt"
	"slices"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// mostChanges is how many changes of one sort are listed; the rest is counted.
const mostChanges = 8

// changes is what came and what went since the last digest, what else is
// noted, and who was counted.
func (b *builder) changes() section {
	s := section{Title: "Changed since " + b.at(b.Since)}
	s.Rows = append(s.Rows, b.cameRows()...)
	s.Rows = append(s.Rows, b.wentRows()...)
	s.Rows = append(s.Rows, b.outageRows()...)
	if len(s.Rows) == 0 {
		s.Lead = "Nothing."
	}
	var noted []string
	for _, e := range b.open {
		if e.Finding.Severity.Rank() == diff.Note.Rank() && !b.fresh(e) {
			noted = append(noted, b.findingTitle(e.Finding))
		}
	}
	if len(noted) > 0 {
		s.Rows = append(s.Rows, row{"noted", fmt.Sprintf("%s before, no hurry: %s", diff.Plural(len(noted), "point", "points"), upTo(noted, 5, "; "))})
	}
	s.Rows = append(s.Rows, b.countRows()...)
	return s
}

// cameRows lists what came and is not told above; the rest is counted.
func (b *builder) cameRows() []row {
	var out []row
	told := 0
	for i, e := range b.open {
		switch {
		case !b.fresh(e):
		case i < min(len(b.pressing()), mostItems):
			told++
		default:
			out = append(out, row{"new", b.findingTitle(e.Finding) + ", " + b.at(e.Opened)})
		}
	}
	out = capped(out)
	if told > 0 {
		out = append([]row{{"new", fmt.Sprintf("%d of the findings above", told)}}, out...)
	}
	return out
}

func capped(rows []row) []row {
	if n := len(rows) - mostChanges; n > 0 {
		return append(rows[:mostChanges:mostChanges], row{rows[0].Head, fmt.Sprintf("and %d more", n)})
	}
	return rows
}

// wentRows lists what is over. What came and went several times is one row.
func (b *builder) wentRows() []row {
	by := map[string][]Episode{}
	var keys []string
	for _, e := range b.Episodes {
		if e.Cleared.IsZero() || e.Cleared.Before(b.Since) {
			continue
		}
		if by[e.Finding.Key] == nil {
			keys = append(keys, e.Finding.Key)
		}
		by[e.Finding.Key] = append(by[e.Finding.Key], e)
	}
	slices.SortStableFunc(keys, func(x, y string) int {
		f, g := by[x][0].Finding, by[y][0].Finding
		return cmp.Or(cmp.Compare(f.Severity.Rank(), g.Severity.Rank()), cmp.Compare(x, y))
	})
	var out []row
	for _, k := range keys {
		list := by[k]
		slices.SortStableFunc(list, func(x, y Episode) int { return x.Cleared.Compare(y.Cleared) })
		last := list[len(list)-1]
		text := b.ending(last)
		switch {
		case len(list) > 1:
			text += fmt.Sprintf(", %d times in all", len(list))
		default:
			text += ", after " + span(last.Cleared.Sub(last.Opened))
		}
		out = append(out, row{"over", text})
	}
	return capped(out)
}

// ending says until when a finding held. One about a planned device that the plan
// no longer names was not mended: the plan changed.
func (b *builder) ending(e Episode) string {
	text := b.findingTitle(e.Finding)
	switch e.Finding.Kind {
	case diff.MissingDevice, diff.MovedDevice, diff.ReplacedDevice, diff.AddressDiffers: // their subjects are planned
		if _, ok := b.Plan.Device(e.Finding.Subject); !ok {
			return fmt.Sprintf("%s: taken out of the plan by %s", text, b.at(e.Cleared))
		}
	}
	return fmt.Sprintf("%s: until %s", text, b.at(e.Cleared))
}

func (b *builder) outageRows() []row {
	words := map[string]string{"internet": "the internet line was down", "power": "the site was dark"}
	var out []row
	for _, o := range b.History.Outages {
		if o.To.IsZero() || o.To.Before(b.Since) {
			continue
		}
		what := words[o.What]
		if what == "" {
			what = clean(o.What) + " was out"
		}
		out = append(out, row{"outage", fmt.Sprintf("%s from %s to %s (%s)", what, b.at(o.From), b.at(o.To), span(o.To.Sub(o.From)))})
	}
	return capped(out)
}

// countRows tells of devices that are counted and not listed, with last week's
// number beside: a count that doubles is news.
func (b *builder) countRows() []row {
	if b.Snapshot == nil {
		return nil
	}
	var out []row
	for _, n := range b.Snapshot.Networks {
		text := ""
		switch {
		case n.Counted > 0 || b.onlyCounts(n.Name):
			text = diff.Plural(n.Counted, "device", "devices") + " on " + clean(n.Name) + ", only counted"
		case n.Private > 0:
			text = diff.Plural(n.Private, "private device", "private devices") + " on Wi-Fi"
			if len(b.Snapshot.Networks) > 1 {
				text += " in " + clean(n.Name)
			}
		default:
			continue
		}
		if was, ok := b.History.Private[n.Name]; ok {
			text += fmt.Sprintf(" (%d last week)", was)
		}
		out = append(out, row{"counted", text})
	}
	return out
}

// onlyCounts reports whether the plan only counts the network's devices.
func (b *builder) onlyCounts(network string) bool {
	n, ok := b.Plan.NetworkNamed(network)
	return ok && n.Unknown == inventory.UnknownCount
}
