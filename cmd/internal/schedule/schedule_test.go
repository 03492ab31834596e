package schedule_test

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"boundwalk/cmd/internal/schedule"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func moment(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestParseRefuses(t *testing.T) {
	for name, test := range map[string]struct{ expr, want string }{
		"zone":                       {"TZ=Europe/Dublin 0 8 * * *", "time zone"},
		"zone without a blank":       {"TZ=", "time zone"},
		"cron zone after a blank":    {"  CRON_TZ=UTC 0 8 * * *", "time zone"},
		"every":                      {"@every 15m", "@every"},
		"word":                       {"@weekly", "five fields"},
		"nothing":                    {"", "empty"},
		"four fields":                {"0 8 * *", "expected exactly 5 fields, found 4"},
		"seconds field":              {"0 0 8 * * *", "expected exactly 5 fields, found 6"},
		"30 February":                {"0 8 30 2 *", "no such date"},
		"31 in the short months":     {"0 8 31 4,6,9,11 *", "no such date"},
		"no minute, only commas":     {", 8 * * *", "no such date"},
		"minute 60":                  {"60 8 * * *", "above maximum"},
		"hour of another kind":       {"0 eight * * *", "eight"},
		"step of nothing":            {"*/0 * * * *", "step"},
		"far too long":               {strings.Repeat("1,", 5000) + "2 * * * *", "too long"},
		"long text is cut when said": {strings.Repeat("x", 100), "xxx\": "},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := schedule.ParseRuns(test.expr, time.UTC)
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Fatalf("got %v, want an error with %q", err, test.want)
			}
			if len(err.Error()) > 300 {
				t.Fatalf("the error has %d bytes", len(err.Error()))
			}
		})
	}
}

func TestParseWeekly(t *testing.T) {
	for name, test := range map[string]struct {
		expr string
		want schedule.Weekly
		err  string
	}{
		"usual":              {expr: "0 8 * * MON", want: schedule.Weekly{Day: time.Monday, Hour: 8}},
		"by number":          {expr: "30 1 * * 0", want: schedule.Weekly{Day: time.Sunday, Hour: 1, Minute: 30}},
		"range of one day":   {expr: "5 23 * * 6-6", want: schedule.Weekly{Day: time.Saturday, Hour: 23, Minute: 5}},
		"daily":              {expr: "0 8 * * *", err: "one day of the week"},
		"two days":           {expr: "0 8 * * MON,THU", err: "one day of the week"},
		"monthly":            {expr: "0 8 1 * *", err: "days of the month"},
		"day or weekday":     {expr: "0 8 13 * FRI", err: "days of the month"},
		"all days of month":  {expr: "0 8 1-31 * MON", err: "days of the month"},
		"in summer":          {expr: "0 8 * 6-8 MON", err: "months"},
		"twice that day":     {expr: "0 8,20 * * MON", err: "one hour and minute"},
		"all day long":       {expr: "*/15 8 * * MON", err: "one hour and minute"},
		"every week by word": {expr: "@weekly", err: "five fields"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := schedule.ParseWeekly(test.expr)
			if test.err != "" {
				if err == nil || !strings.Contains(err.Error(), test.err) {
					t.Fatalf("got %v, want an error with %q", err, test.err)
				}
				return
			}
			if err != nil || got != test.want {
				t.Fatalf("got %+v, %v, want %+v", got, err, test.want)
			}
		})
	}
}

func TestRunsNext(t *testing.T) {
	for name, test := range map[string]struct {
		zone, expr, now string
		want            []string
	}{
		"quarter hours through the night that has no 01:00 to 02:00": {
			"Europe/Dublin", "*/15 * * * *", "2026-03-29T00:40:00Z",
			[]string{"2026-03-29T00:45:00Z", "2026-03-29T02:00:00+01:00", "2026-03-29T02:15:00+01:00"},
		},
		"half hours through the night that has 01:00 to 02:00 twice": {
			"Europe/Dublin", "*/30 * * * *", "2026-10-25T01:10:00+01:00",
			[]string{"2026-10-25T01:30:00+01:00", "2026-10-25T01:00:00Z", "2026-10-25T01:30:00Z", "2026-10-25T02:00:00Z"},
		},
		"a daily time that does not exist comes at the end of the gap": {
			"Europe/Dublin", "30 1 * * *", "2026-03-28T12:00:00Z",
			[]string{"2026-03-29T02:00:00+01:00", "2026-03-30T01:30:00+01:00"},
		},
		"midnight that does not exist": {
			"America/Santiago", "0 0 * * *", "2026-09-05T12:00:00-04:00",
			[]string{"2026-09-06T01:00:00-03:00", "2026-09-07T00:00:00-03:00"},
		},
		"a change of half an hour": {
			"Australia/Lord_Howe", "15 2 * * *", "2026-10-03T12:00:00+10:30",
			[]string{"2026-10-04T02:30:00+11:00", "2026-10-05T02:15:00+11:00"},
		},
		"45 minutes off the hour": {
			"Asia/Kathmandu", "0 * * * *", "2026-01-01T12:00:01+05:45", []string{"2026-01-01T13:00:00+05:45"},
		},
		"29 February": {"UTC", "0 8 29 2 *", "2026-01-01T00:00:00Z", []string{"2028-02-29T08:00:00Z", "2032-02-29T08:00:00Z"}},
		"strictly after now, to the nanosecond": {
			"UTC", "0 8 * * *", "2026-01-01T08:00:00Z", []string{"2026-01-02T08:00:00Z"},
		},
		"a fraction of a second before": {
			"UTC", "0 8 * * *", "2026-01-01T07:59:59.999999999Z", []string{"2026-01-01T08:00:00Z"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			runs, err := schedule.ParseRuns(test.expr, zone(t, test.zone))
			if err != nil {
				t.Fatal(err)
			}
			at := moment(t, test.now)
			for _, want := range test.want {
				if at = runs.Next(at); at.Format(time.RFC3339) != want {
					t.Fatalf("got %s, want %s", at.Format(time.RFC3339), want)
				}
			}
		})
	}
	if got := (schedule.Runs{}).Next(moment(t, "2026-01-01T08:00:00Z")); !got.IsZero() {
		t.Fatalf("the zero schedule comes at %s", got)
	}
}

func TestWeek(t *testing.T) {
	for text, day := range map[string]string{ // from memory: ISO 8601 week dates around New Year
		"2026-W01": "2025-12-29", "2026-W53": "2027-01-03", "2027-W01": "2027-01-04", "2021-W53": "", "2026-W00": "", "2026-W54": "",
		"2026-W1": "", "26-W01": "", "2026-W21 ": "", "2026-W+1": "", "": "", "0000-W00": "",
	} {
		got, err := schedule.ParseWeek(text)
		if day == "" {
			if err == nil {
				t.Errorf("%q is taken for %v", text, got)
			}
			continue
		}
		at, _ := time.Parse(time.DateOnly, day)
		if err != nil || got != schedule.WeekOf(at) || got.String() != text {
			t.Errorf("%q: got %v, %v, want the week of %s", text, got, err, day)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"*/15 * * * *", "0 8 * * MON", "TZ=", "CRON_TZ=", "@every 1s", ",,, * * * *", "0 8 30 2 *",
		"18446744073709551615 * * * *", "0-59/18446744073709551615 * * * *", "? ? ? ? ?", "\x00 \xff * * *", "1-0 * * * *"} {
		f.Add(seed)
	}
	loc := zone(f, "Australia/Lord_Howe")
	f.Fuzz(func(t *testing.T, expr string) {
		now := time.Date(2026, 4, 4, 13, 0, 0, 0, time.UTC)
		if runs, err := schedule.ParseRuns(expr, loc); err == nil {
			if next := runs.Next(now); !next.After(now) {
				t.Fatalf("%q: after %s comes %s", expr, now, next)
			}
		}
		if weekly, err := schedule.ParseWeekly(expr); err == nil {
			if at := weekly.In(schedule.WeekOf(now), loc); at.Weekday() != weekly.Day {
				t.Fatalf("%q: on %s", expr, at.Weekday())
			}
		}
	})
}
