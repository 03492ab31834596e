package schedule

import (
	"testing"
	"time"
)

// A bubble of synctest cannot set its clock, so this asks the loop directly.
func TestComingWhenTheClockIsSet(t *testing.T) {
	runs, err := ParseRuns("0 * * * *", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)
	for name, test := range map[string]struct {
		now time.Time
		due bool
		in  time.Duration
	}{
		"as usual":                   {now: noon.Add(59*time.Minute + 50*time.Second), in: 10 * time.Second},
		"on the hour":                {now: noon.Add(time.Hour), due: true},
		"no longer than a minute":    {now: noon.Add(10 * time.Minute), in: time.Minute},
		"set forward a day":          {now: noon.AddDate(0, 0, 1).Add(10 * time.Minute), due: true},
		"set back a day":             {now: noon.AddDate(0, 0, -1).Add(10 * time.Minute), in: time.Minute},
		"set back, just before noon": {now: noon.Add(-20 * time.Second), in: 20 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			r := rounds{Loop: Loop{Next: runs.Next, Every: time.Minute}, settled: noon.AddDate(0, 0, -7), done: noon.Add(5 * time.Minute)}
			job, in := r.coming(test.now)
			if (job != nil) != test.due || in != test.in {
				t.Fatalf("got due %v in %s, want %v in %s", job != nil, in, test.due, test.in)
			}
		})
	}
}
