package schedule

import "time"

// born is when this program was written. A clock that shows less has not been
// set yet, as on small machines without a battery until they find the network.
var born = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// believed is how far ahead of now a mark may lie. One farther ahead was made
// while the clock was wrong; without this bound a single evening in 2038 would
// end all digests.
const believed = 28 * 24 * time.Hour

// DigestDue reports whether a digest is owed now, and for which week. It is the
// newest week whose planned time has passed in loc (nil means UTC), if neither
// that week nor one shortly after is marked: so each week in which the machine
// was up between its planned time and the next one gets exactly one digest,
// however often this is asked. After a pause there is one catch-up. It counts
// for the newest week that was missed, and those before it get none; the week
// that now runs still gets its own at the planned time.
//
// marked holds the weeks whose digest was taken into the mail spool, in any
// order; those of the last two months are enough. A clock set back finds a
// later week marked and sends nothing. A digest that a person asks for is not
// to be marked. No digest is owed for a planned time before since, when the
// logbook began; the zero since is long ago.
func DigestDue(now time.Time, loc *time.Location, spec Weekly, marked []Week, since time.Time) (Week, bool) {
	if now.Before(born) {
		return Week{}, false
	}
	if loc == nil {
		loc = time.UTC
	}
	week := WeekOf(now.In(loc)).shift(1)
	planned := spec.In(week, loc)
	for planned.After(now) {
		week = week.shift(-1)
		planned = spec.In(week, loc)
	}
	if planned.Before(since) && since.Sub(now) <= believed {
		return Week{}, false
	}
	for _, mark := range marked {
		if ahead := mark.monday().Sub(week.monday()); ahead >= 0 && ahead <= believed {
			return Week{}, false
		}
	}
	return week, true
}
