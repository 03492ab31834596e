// Package schedule decides when the daemon does what. [ParseRuns] and
// [ParseWeekly] read cron expressions, [DigestDue] says from the marks in the
// logbook whether a digest is owed, and [Loop] runs, one job at a time.
//
// The cron library only parses. Measured, its own Next leaves out a time that
// the clock change skips and takes one that comes twice for two, so all that
// depends on a time zone is worked out here from wall clock times.
package schedule

import (
	"errors"
	"fmt"
	"math/bits"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

var parser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

// Runs is a schedule of runs in one time zone. The zero Runs never comes.
type Runs struct {
	spec *cron.SpecSchedule
	loc  *time.Location
}

// ParseRuns reads a cron expression of five fields (minute, hour, day of month,
// month, day of week) whose times are meant in loc; nil means UTC.
func ParseRuns(expr string, loc *time.Location) (Runs, error) {
	spec, err := parse(expr)
	if err != nil {
		return Runs{}, err
	}
	if loc == nil {
		loc = time.UTC
	}
	return Runs{spec: spec, loc: loc}, nil
}

// Next is the first scheduled time after now, zero if there is none. A time
// that the spring clock change skips comes at the end of the gap. One that
// comes twice in autumn is run twice: for "every 15 minutes" that is what is
// meant, and a second daily run does no harm.
func (r Runs) Next(now time.Time) time.Time {
	if r.spec == nil {
		return time.Time{}
	}
	at := now.In(r.loc)
	after := wall(at)
	for {
		planned := r.spec.Next(after)
		if planned.IsZero() {
			return time.Time{}
		}
		_, offset := at.Zone()
		_, end := at.ZoneBounds()
		if t := onClock(planned, offset); end.IsZero() || t.Before(end) {
			return t.In(r.loc)
		}
		if planned.Before(wall(end)) {
			return end // the clock jumps over the planned time
		}
		at, after = end, wall(end).Add(-time.Nanosecond)
	}
}

// Weekly is one time in the week, as the wall clock shows it. The zero Weekly
// is Sunday at midnight.
type Weekly struct {
	Day    time.Weekday
	Hour   int // 0 to 23
	Minute int // 0 to 59
}

// ParseWeekly reads a cron expression that names one time on one day of the
// week, such as "0 8 * * MON".
func ParseWeekly(expr string) (Weekly, error) {
	spec, err := parse(expr)
	if err != nil {
		return Weekly{}, err
	}
	wrong := func(what string) (Weekly, error) {
		return Weekly{}, fmt.Errorf(`schedule %s: %s; write one time a week, such as "0 8 * * MON"`, quote(expr), what)
	}
	fields := strings.Fields(expr)
	switch {
	case fields[2] != "*":
		return wrong("it names days of the month")
	case fields[3] != "*":
		return wrong("it names months")
	case bits.OnesCount64(spec.Dow) != 1:
		return wrong("it does not name one day of the week")
	case bits.OnesCount64(spec.Hour) != 1 || bits.OnesCount64(spec.Minute) != 1:
		return wrong("it does not name one hour and minute")
	}
	return Weekly{
		Day:    time.Weekday(bits.TrailingZeros64(spec.Dow)),
		Hour:   bits.TrailingZeros64(spec.Hour),
		Minute: bits.TrailingZeros64(spec.Minute),
	}, nil
}

// In is the moment in week when the clock in loc first shows the planned time
// or, where a clock change skips it, the end of the gap. The moment may lie on
// another day than planned only where the zone skipped the whole day.
func (w Weekly) In(week Week, loc *time.Location) time.Time {
	days := (int(w.Day) + 6) % 7 // the ISO week begins on Monday
	planned := week.monday().AddDate(0, 0, days).
		Add(time.Duration(w.Hour)*time.Hour + time.Duration(w.Minute)*time.Minute)
	return firstShown(planned, loc)
}

// parse reads what both kinds of schedule share. The library panics on "TZ="
// without a blank, so zones are refused before it sees them.
func parse(expr string) (*cron.SpecSchedule, error) {
	trimmed := strings.TrimSpace(expr)
	switch {
	case len(trimmed) > 200:
		return nil, fmt.Errorf("schedule %s: too long for a cron expression", quote(expr))
	case strings.Contains(strings.ToUpper(trimmed), "TZ="):
		return nil, fmt.Errorf("schedule %s: a time zone cannot stand here; the site's own holds", quote(expr))
	case strings.HasPrefix(trimmed, "@"):
		return nil, fmt.Errorf(`schedule %s: words such as @every or @daily are not taken; write five fields, such as "*/15 * * * *"`, quote(expr))
	}
	parsed, err := parser.Parse(trimmed)
	if err != nil {
		return nil, fmt.Errorf("schedule %s: %w", quote(expr), err)
	}
	spec, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		return nil, fmt.Errorf("schedule %s: not a cron expression", quote(expr))
	}
	spec.Location = time.UTC
	// Any start does: the library looks five years ahead, and 2000 to 2005
	// hold each date there is.
	if spec.Next(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, fmt.Errorf("schedule %s: %w", quote(expr), errNever)
	}
	return spec, nil
}

var errNever = errors.New("no such date exists")

func quote(expr string) string { return fmt.Sprintf("%.60q", expr) }
