package schedule

import (
	"fmt"
	"time"
)

// Week is a week as ISO 8601 numbers it: it begins on Monday, and week 1 holds
// 4 January. The zero Week is none.
type Week struct {
	Year   int // the ISO year, which near New Year is not the calendar's
	Number int // 1 to 53
}

// WeekOf is the week of the date that t's own location shows.
func WeekOf(t time.Time) Week {
	year, number := t.ISOWeek()
	return Week{Year: year, Number: number}
}

// ParseWeek reads what [Week.String] writes. A week that its year does not have
// is an error.
func ParseWeek(text string) (Week, error) {
	var w Week
	if _, err := fmt.Sscanf(text, "%4d-W%2d", &w.Year, &w.Number); err != nil || w.String() != text || WeekOf(w.monday()) != w {
		return Week{}, fmt.Errorf(`week %.20q: want a form such as "2026-W21"`, text)
	}
	return w, nil
}

// String is the form of ISO 8601, such as 2026-W21, which sorts by time.
func (w Week) String() string { return fmt.Sprintf("%04d-W%02d", w.Year, w.Number) }

// monday is midnight at the week's start on a wall clock, with UTC as carrier.
func (w Week) monday() time.Time {
	fourth := time.Date(w.Year, time.January, 4, 0, 0, 0, 0, time.UTC)
	return fourth.AddDate(0, 0, 7*(w.Number-1)-(int(fourth.Weekday())+6)%7)
}

func (w Week) shift(weeks int) Week { return WeekOf(w.monday().AddDate(0, 0, 7*weeks)) }

// wall is what the clock on t's wall shows, carried as if it were UTC. Wall
// clock times may be added and compared without thought of clock changes.
func wall(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

// onClock is the moment when a clock with that offset (seconds east of UTC)
// shows shown.
func onClock(shown time.Time, offset int) time.Time {
	return shown.Add(-time.Duration(offset) * time.Second)
}

// firstShown is the first moment at which the clock in loc shows that wall
// clock time or a later one.
func firstShown(shown time.Time, loc *time.Location) time.Time {
	if loc == nil {
		loc = time.UTC
	}
	at := shown.Add(-36 * time.Hour).In(loc) // no zone is that far from UTC
	for {
		_, offset := at.Zone()
		_, end := at.ZoneBounds()
		t := onClock(shown, offset).In(loc)
		if t.Before(at) {
			return at // skipped: at is the end of the gap
		}
		if end.IsZero() || t.Before(end) {
			return t
		}
		at = end
	}
}
