package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"boundwalk/cmd/internal/schedule"
)

// sent is one digest of a simulation.
type sent struct {
	week schedule.Week
	at   time.Time
}

// simulate asks hourly from start to end, but not while off says so.
func simulate(start, end time.Time, loc *time.Location, spec schedule.Weekly, off func(time.Time) bool) []sent {
	var digests []sent
	var marked []schedule.Week
	for now := start; now.Before(end); now = now.Add(time.Hour) {
		if off(now) {
			continue
		}
		if week, due := schedule.DigestDue(now, loc, spec, marked[max(0, len(marked)-8):], start); due {
			marked = append(marked, week)
			digests = append(digests, sent{week, now})
		}
	}
	return digests
}

func never(time.Time) bool { return false }

// The cases of field case FC-27.
func TestDigestDueAtClockChanges(t *testing.T) {
	for name, test := range map[string]struct {
		zone, expr, from, to string
		off                  func(time.Time) bool
		want                 []string
	}{
		"spring gap": {
			zone: "Europe/London", expr: "30 1 * * 0", from: "2026-03-21T00:00:00Z", to: "2026-04-06T00:00:00+01:00",
			want: []string{"2026-W12 2026-03-22T02:00:00Z", "2026-W13 2026-03-29T02:00:00+01:00", "2026-W14 2026-04-05T02:00:00+01:00"},
		},
		"hour that comes twice": {
			zone: "Europe/London", expr: "30 1 * * 0", from: "2026-10-24T00:00:00+01:00", to: "2026-10-26T00:00:00Z",
			want: []string{"2026-W43 2026-10-25T01:00:00Z"},
		},
		"off from 1 to 20 May": {
			zone: "Europe/London", expr: "30 1 * * 0", from: "2026-04-20T00:00:00+01:00", to: "2026-05-25T00:00:00+01:00",
			off: func(now time.Time) bool {
				return now.After(time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)) && now.Before(time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC))
			},
			want: []string{"2026-W17 2026-04-26T02:00:00+01:00", "2026-W20 2026-05-20T13:00:00+01:00", "2026-W21 2026-05-24T02:00:00+01:00"},
		},
		"midnight that does not exist": {
			zone: "America/Santiago", expr: "0 0 * * 0", from: "2026-09-01T00:00:00-04:00", to: "2026-09-12T00:00:00-03:00",
			want: []string{"2026-W36 2026-09-06T01:00:00-03:00"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			loc := zone(t, test.zone)
			spec, err := schedule.ParseWeekly(test.expr)
			if err != nil {
				t.Fatal(err)
			}
			if test.off == nil {
				test.off = never
			}
			var got []string
			for _, digest := range simulate(moment(t, test.from), moment(t, test.to), loc, spec, test.off) {
				got = append(got, digest.week.String()+" "+digest.at.In(loc).Format(time.RFC3339))
			}
			if !slices.Equal(got, test.want) {
				t.Fatalf("got\n%q, want\n%q", got, test.want)
			}
		})
	}
}

func TestPlannedMoment(t *testing.T) {
	for name, test := range map[string]struct{ zone, expr, week, want string }{
		"the first of two":                {"Europe/Dublin", "30 1 * * SUN", "2026-W43", "2026-10-25T01:30:00+01:00"},
		"gap of half an hour":             {"Australia/Lord_Howe", "10 2 * * SUN", "2026-W40", "2026-10-04T02:30:00+11:00"},
		"second edge of the gap":          {"Europe/Dublin", "0 2 * * SUN", "2026-W13", "2026-03-29T02:00:00+01:00"},
		"a date that Samoa left out":      {"Pacific/Apia", "0 8 * * FRI", "2011-W52", "2011-12-31T00:00:00+14:00"},
		"a midnight that comes twice":     {"America/Santiago", "30 23 * * SAT", "2026-W14", "2026-04-04T23:30:00-03:00"},
		"clock set back just at midnight": {"America/Santiago", "0 0 * * SUN", "2026-W14", "2026-04-05T00:00:00-04:00"},
	} {
		t.Run(name, func(t *testing.T) {
			spec, err := schedule.ParseWeekly(test.expr)
			if err != nil {
				t.Fatal(err)
			}
			week, err := schedule.ParseWeek(test.week)
			if err != nil {
				t.Fatal(err)
			}
			if got := spec.In(week, zone(t, test.zone)).Format(time.RFC3339); got != test.want {
				t.Fatalf("got %s, want %s", got, test.want)
			}
		})
	}
}

func TestDigestDueWhenTheClockIsWrong(t *testing.T) {
	spec := schedule.Weekly{Day: time.Monday, Hour: 8}
	week := func(text string) schedule.Week {
		w, err := schedule.ParseWeek(text)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	for name, test := range map[string]struct {
		now, since string
		marked     []schedule.Week
		want       string // "" if none is due
	}{
		"set back a day, over the planned time": {now: "2026-05-17T09:00:00Z", marked: []schedule.Week{week("2026-W21")}},
		"set back a day, week before unmarked":  {now: "2026-05-17T09:00:00Z", marked: []schedule.Week{week("2026-W18"), week("2026-W21")}},
		"a mark made by a clock in 2038":        {now: "2026-05-18T09:00:00Z", marked: []schedule.Week{week("2038-W05")}, want: "2026-W21"},
		"that mark, and this week's":            {now: "2026-05-19T09:00:00Z", marked: []schedule.Week{week("2026-W21"), week("2038-W05")}},
		"not set yet":                           {now: "1970-01-05T09:00:00Z"},
		"installed after the planned time":      {now: "2026-05-19T09:00:00Z", since: "2026-05-19T08:00:00Z"},
		"first one after installation":          {now: "2026-05-25T08:00:00Z", since: "2026-05-19T08:00:00Z", want: "2026-W22"},
		"installed, then set back a day":        {now: "2026-05-18T09:00:00Z", since: "2026-05-19T08:00:00Z"},
		"installed by a clock in 2038":          {now: "2026-05-18T09:00:00Z", since: "2038-01-19T03:14:07Z", want: "2026-W21"},
		"a nanosecond too early":                {now: "2026-05-18T07:59:59.999999999Z", marked: []schedule.Week{week("2026-W20")}},
		"at the moment":                         {now: "2026-05-18T08:00:00Z", marked: []schedule.Week{week("2026-W20")}, want: "2026-W21"},
	} {
		t.Run(name, func(t *testing.T) {
			var since time.Time
			if test.since != "" {
				since = moment(t, test.since)
			}
			got, due := schedule.DigestDue(moment(t, test.now), nil, spec, test.marked, since)
			if due != (test.want != "") || due && got != week(test.want) {
				t.Fatalf("got %v %v, want %q", got, due, test.want)
			}
		})
	}
}

// A slow twin of Weekly.In: it goes through the hours before and after and
// reads the wall clock as text.
func plannedSlowly(monday time.Time, spec schedule.Weekly, loc *time.Location) time.Time {
	day := monday.AddDate(0, 0, (int(spec.Day)+6)%7)
	want := fmt.Sprintf("%s %02d:%02d", day.Format(time.DateOnly), spec.Hour, spec.Minute)
	rough := time.Date(day.Year(), day.Month(), day.Day(), spec.Hour, spec.Minute, 0, 0, loc)
	for at := rough.Add(-3 * time.Hour); ; at = at.Add(5 * time.Minute) {
		if at.Format("2006-01-02 15:04") >= want {
			return at
		}
	}
}

// Ten years, hour by hour, with the machine off at random: each ISO week in
// which it was up between its planned time and the next one gets one digest, at
// the first hour up; no week gets two.
func TestDigestDueTenYears(t *testing.T) {
	for _, name := range []string{"Europe/Dublin", "America/Santiago", "Australia/Lord_Howe", "Asia/Kathmandu"} {
		for _, expr := range []string{"0 8 * * MON", "30 1 * * SUN", "0 0 * * SUN"} {
			for _, offs := range []int{0, 150} {
				if offs == 0 && expr == "0 0 * * SUN" {
					continue // little is left to learn, and the race detector is slow
				}
				t.Run(fmt.Sprintf("%s %s off %d times", name, expr, offs), func(t *testing.T) {
					t.Parallel()
					tenYears(t, zone(t, name), expr, offs)
				})
			}
		}
	}
}

func tenYears(t *testing.T, loc *time.Location, expr string, offs int) {
	spec, err := schedule.ParseWeekly(expr)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 2, 4, 3, 17, 0, 0, loc)
	const hours = 10 * 365 * 24
	off := make([]bool, hours)
	chance := rand.New(rand.NewPCG(1, uint64(len(loc.String()))))
	for range offs {
		length := 1 + chance.IntN(36)
		if chance.IntN(4) == 0 {
			length = 24 + chance.IntN(40*24) // moved house, or a dead power supply
		}
		from := chance.IntN(hours)
		for i := from; i < min(from+length, hours); i++ {
			off[i] = true
		}
	}
	end := start.Add(hours * time.Hour)
	got := simulate(start, end, loc, spec, func(now time.Time) bool { return off[int(now.Sub(start)/time.Hour)] })

	var want []sent
	weeks := 0
	for monday := time.Date(2026, 1, 26, 0, 0, 0, 0, time.UTC); monday.Before(end); monday = monday.AddDate(0, 0, 7) {
		planned, next := plannedSlowly(monday, spec, loc), plannedSlowly(monday.AddDate(0, 0, 7), spec, loc)
		if planned.Before(start) || !planned.Before(end) {
			continue
		}
		weeks++
		for i := int((planned.Sub(start) + time.Hour - 1) / time.Hour); i < hours && start.Add(time.Duration(i)*time.Hour).Before(next); i++ {
			if !off[i] {
				want = append(want, sent{schedule.WeekOf(monday), start.Add(time.Duration(i) * time.Hour)})
				break
			}
		}
	}
	if len(want) < 400 || offs == 0 && len(want) < weeks-1 {
		t.Fatalf("the test itself is wrong: %d of %d weeks expected", len(want), weeks)
	}
	if !slices.Equal(got, want) {
		t.Fatalf("%d digests, want %d: first difference at %d", len(got), len(want), firstDifference(got, want))
	}
	t.Logf("%d weeks, %d digests", weeks, len(got))
}

func firstDifference(a, b []sent) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

// The clock is set back a day for an hour, again and again, over three years.
func TestDigestDueWithAClockSetBack(t *testing.T) {
	loc := zone(t, "Europe/Dublin")
	spec := schedule.Weekly{Day: time.Monday, Hour: 8}
	start := time.Date(2026, 2, 4, 3, 17, 0, 0, loc)
	chance := rand.New(rand.NewPCG(2, 2))
	seen := map[schedule.Week]int{}
	var marked []schedule.Week
	for i := range 3 * 365 * 24 {
		now := start.Add(time.Duration(i) * time.Hour)
		if chance.IntN(12) == 0 {
			now = now.Add(-24 * time.Hour)
		}
		if week, due := schedule.DigestDue(now, loc, spec, marked, start); due {
			seen[week]++
			marked = append(marked, week)
		}
	}
	for week, count := range seen {
		if count != 1 {
			t.Errorf("week %s: %d digests", week, count)
		}
	}
	if len(seen) != 156 { // Mondays from 9 February 2026 to 29 January 2029
		t.Errorf("%d weeks, want 156", len(seen))
	}
}
