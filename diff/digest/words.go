package digest

import (
	"fmt"
	"strings"
	"time"

	"boundwalk/inventory"
)

// longest is how many characters of one sentence a mail keeps. Devices' own
// words were cut shorter when they were read; this holds for a damaged logbook too.
const longest = 400

func clean(s string) string { return inventory.CleanTo(s, longest) }

// at is a local time for people. Where the clock has changed since, or in another
// year, it says which offset or year it means.
func (b *builder) at(t time.Time) string {
	t, now := t.In(b.loc), b.Now.In(b.loc)
	layout := "Mon 2 Jan 15:04"
	if t.Year() != now.Year() {
		layout = "Mon 2 Jan 2006 15:04"
	}
	if _, off := t.Zone(); off != offsetOf(now) {
		layout += " -07:00"
	}
	return t.Format(layout)
}

func (b *builder) whole(t time.Time) string { return t.In(b.loc).Format("Mon 2 Jan 2006 15:04 -07:00") }

func offsetOf(t time.Time) int {
	_, off := t.Zone()
	return off
}

// span is a duration for people.
func span(d time.Duration) string {
	switch m := int(d.Round(time.Minute) / time.Minute); {
	case m < 1:
		return "less than a minute"
	case m < 120:
		return fmt.Sprintf("%d min", m)
	case m < 48*60:
		return fmt.Sprintf("%d h %02d min", m/60, m%60)
	default:
		return fmt.Sprintf("%d days", m/(24*60))
	}
}

// upTo lists the first few and counts the rest.
func upTo(list []string, most int, sep string) string {
	if n := len(list) - most; n > 0 {
		return strings.Join(list[:most], sep) + fmt.Sprintf("%sand %d more", sep, n)
	}
	return strings.Join(list, sep)
}

// percent has a blank that does not break.
func percent(share float64) string { return fmt.Sprintf("%.0f\u00a0%%", 100*share) }
