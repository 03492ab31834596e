package digest

import (
	"fmt"
	"slices"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// links is what each radio link receives, its rate in the air, and its load.
func (b *builder) links() section {
	s := section{Title: "Radio links"}
	if b.Snapshot == nil {
		return s
	}
	for i := range b.Plan.Links {
		l := &b.Plan.Links[i]
		var parts []string
		for _, end := range l.Between {
			parts = append(parts, b.end(end))
		}
		parts = append(parts, b.traffic(l))
		s.Rows = append(s.Rows, row{clean(l.Name), strings.Join(parts, "; ")})
	}
	return s
}

// end is one side of a link.
func (b *builder) end(device string) string {
	name := clean(device)
	k := slices.IndexFunc(b.Snapshot.Radios, func(r inventory.RadioState) bool { return r.Device == device })
	if k < 0 {
		return name + ": nothing is known of its air side"
	}
	r := &b.Snapshot.Radios[k]
	var parts []string
	if r.Level != nil {
		words := fmt.Sprintf("receives %.0f dBm", *r.Level)
		if m, ok := usual(b.History.Levels[device]); ok {
			words += fmt.Sprintf(" (usually %.0f)", m)
		}
		parts = append(parts, words)
	}
	if r.Rate != nil {
		parts = append(parts, fmt.Sprintf("%s in the air, which is no throughput", *r.Rate))
	}
	if r.Loss != nil {
		parts = append(parts, percent(*r.Loss)+" of the echoes lost")
	}
	if len(parts) == 0 {
		if r.Why != "" {
			return name + ": " + clean(r.Why)
		}
		return name + ": nothing is known of its air side"
	}
	return name + " " + strings.Join(parts, ", ")
}

// usual is the median of the daily levels, where there is a week of them.
func usual(levels []inventory.Level) (float64, bool) {
	var dbm []float64
	for _, l := range levels {
		dbm = append(dbm, l.DBm)
	}
	if len(dbm) < 7 {
		return 0, false
	}
	slices.Sort(dbm)
	return dbm[(len(dbm)-1)/2], true
}

// traffic is what the link carried, read at the switch port of one of its ends.
func (b *builder) traffic(l *inventory.RadioLink) string {
	for _, end := range l.Between {
		d, ok := b.Plan.Device(end)
		if !ok {
			continue
		}
		t, ok := b.Traffic[d.At]
		if !ok {
			continue
		}
		words := fmt.Sprintf("carries %s on the mean", round(t.In+t.Out))
		if t.InPeak+t.OutPeak > 0 {
			words += fmt.Sprintf(", %s in its busiest stretch", round(t.InPeak+t.OutPeak))
		}
		if l.Needs > 0 {
			words += fmt.Sprintf(", of %s needed", l.Needs)
		}
		return words
	}
	return "its load is not known"
}

// round keeps a tenth of a Mbit/s: more is not in two counter readings.
func round(r inventory.BitRate) inventory.BitRate {
	if r < 1e6 {
		return (r + 5e3) / 1e4 * 1e4
	}
	return (r + 5e4) / 1e5 * 1e5
}

// mostUnseen is how many looks that failed are listed.
const mostUnseen = 8

// unseen is what could not be looked at. What the plan keeps from being asked,
// and what was never offered, is not in it.
func (b *builder) unseen() section {
	s := section{Title: "What could not be looked at"}
	if b.Snapshot == nil {
		return s
	}
	words := map[inventory.Result]string{inventory.Partial: "only in part", inventory.Refused: "refused", inventory.NoAnswer: "no answer"}
	at := map[string]int{} // subject and reason -> row
	for _, c := range b.Snapshot.Coverage {
		w, bad := words[c.Result]
		if !bad {
			continue
		}
		if why := clean(strings.TrimPrefix(c.Why, "no response: ")); why != "" && why != "no response" {
			w += ", " + why
		}
		key := c.Subject + "\x00" + w
		if k, ok := at[key]; ok && c.Table != "" {
			s.Rows[k].Text = clean(c.Table) + ", " + s.Rows[k].Text
			continue
		} else if ok {
			continue
		}
		at[key] = len(s.Rows)
		if c.Table != "" {
			w = clean(c.Table) + ": " + w
		}
		s.Rows = append(s.Rows, row{clean(c.Subject), w})
	}
	var not []string
	for i := range b.Snapshot.Devices {
		if d := &b.Snapshot.Devices[i]; d.Planned && d.Presence == inventory.NotLooked {
			not = append(not, clean(d.Name))
		}
	}
	if n := len(s.Rows) - mostUnseen; n > 0 {
		s.Rows = s.Rows[:mostUnseen]
		s.Foot = append(s.Foot, fmt.Sprintf(`%d more: "boundwalk run" tells them.`, n))
	}
	if len(not) > 0 {
		s.Foot = append(s.Foot, "Nobody could look whether these are there: "+upTo(not, 8, ", ")+".")
	}
	for _, c := range b.Snapshot.Capped {
		s.Foot = append(s.Foot, clean(c))
	}
	if s.empty() {
		s.Lead = "Nothing: all that was asked answered."
	}
	return s
}

// coming is where the daily peaks lead, if nothing changes.
func (b *builder) coming() section {
	s := section{Title: "What comes next"}
	if b.Snapshot == nil {
		return s
	}
	days := 0
	add := func(l load, peaks []inventory.Peak) {
		days = max(days, len(peaks))
		if l.Near <= 0 || l.share() >= l.Near {
			return // it is a finding by now
		}
		limit := inventory.Power(float64(l.Limit) * l.Near)
		f, ok := diff.Trend(peaks, limit)
		if !ok || f.FromWeeks == 0 && f.ToWeeks == 0 {
			return
		}
		s.Rows = append(s.Rows, row{l.Name, fmt.Sprintf("grows by %s a week; at this pace it reaches %s of %s in %s", f.PerWeek,
			percent(l.Near), l.Limit, weeks(f))})
	}
	for _, l := range b.supplies() {
		add(l, b.History.Supplies[l.Supply])
	}
	ports, _ := b.ports()
	for _, l := range ports {
		add(l, b.History.Peaks[l.Port])
	}
	switch {
	case len(s.Rows) > mostChanges:
		s.Foot = append(s.Foot, fmt.Sprintf("%d more grow.", len(s.Rows)-mostChanges))
		s.Rows = s.Rows[:mostChanges]
	case len(s.Rows) == 0 && days > 0 && days < 14:
		s.Lead = fmt.Sprintf("Too early to tell: a trend wants the peaks of two weeks, and has those of %s.", diff.Plural(days, "day", "days"))
	case len(s.Rows) == 0 && days > 0:
		s.Lead = "No draw grows towards its limit."
	}
	return s
}

func weeks(f diff.Forecast) string {
	from := max(int(f.FromWeeks+0.5), 1)
	if f.ToWeeks == 0 {
		return fmt.Sprintf("%s or later", diff.Plural(from, "week", "weeks"))
	}
	to := max(int(f.ToWeeks+0.5), 1)
	if to == from {
		return "about " + diff.Plural(from, "week", "weeks")
	}
	return fmt.Sprintf("about %d to %d weeks", from, to)
}
