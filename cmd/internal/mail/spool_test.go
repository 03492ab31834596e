package mail_test

import (
	"slices"
	"testing"
	"time"

	"boundwalk/cmd/internal/mail"
)

var queued = time.Date(2026, 5, 18, 8, 0, 0, 0, time.UTC)

func TestNextTry(t *testing.T) {
	day := 24 * time.Hour
	for name, test := range map[string]struct {
		attempts int
		age      time.Duration
		pause    time.Duration
		giveUp   bool
	}{
		"not tried yet":            {0, 0, 0, false},
		"once":                     {1, 0, 2 * time.Minute, false},
		"twice":                    {2, time.Hour, 4 * time.Minute, false},
		"eight times":              {8, time.Hour, 256 * time.Minute, false},
		"at most six hours":        {9, day, 6 * time.Hour, false},
		"more tries than bits":     {1 << 30, day, 6 * time.Hour, false},
		"a count that is nonsense": {-5, 0, 0, false},
		"just before four days":    {20, 4*day - 1, 6 * time.Hour, false},
		"four days":                {20, 4 * day, 6 * time.Hour, true},
		"queued tomorrow":          {1, -day, 2 * time.Minute, false},
	} {
		t.Run(name, func(t *testing.T) {
			now := queued.Add(test.age)
			next, giveUp := mail.NextTry(queued, test.attempts, now)
			if next.Sub(now) != test.pause || giveUp != test.giveUp {
				t.Fatalf("in %s, %v, want in %s, %v", next.Sub(now), giveUp, test.pause, test.giveUp)
			}
		})
	}
}

// A server that is down for a week: the tries thin out, and when it is back the
// newest digest of two is there to be taken.
func TestServerDownForAWeek(t *testing.T) {
	now, attempts := queued, 0
	for !now.After(queued.AddDate(0, 0, 7)) {
		attempts++
		now, _ = mail.NextTry(queued, attempts, now)
	}
	if attempts < 20 || attempts > 60 {
		t.Errorf("%d tries in a week", attempts)
	}
	waiting := []mail.Waiting{{ID: 1, Kind: "digest", FirstQueued: queued}, {ID: 2, Kind: "digest", FirstQueued: queued.AddDate(0, 0, 7)}}
	if got := mail.Outdated(waiting, now); !slices.Equal(got, []int64{1}) {
		t.Errorf("dropped %v", got)
	}
	if got := mail.Outdated(waiting[:1], now); got != nil {
		t.Errorf("dropped %v, the newest", got)
	}
}

func TestOutdated(t *testing.T) {
	day := 24 * time.Hour
	waiting := []mail.Waiting{
		{ID: 7, Kind: "urgent", FirstQueued: queued},
		{ID: 5, Kind: "digest", FirstQueued: queued.Add(-7 * day)},
		{ID: 6, Kind: "digest", FirstQueued: queued},
		{ID: 4, Kind: "digest", FirstQueued: queued.Add(-14 * day)},
		{ID: 8, Kind: "urgent", FirstQueued: queued},
		{ID: 9, Kind: "test", FirstQueued: queued.Add(-30 * day)},
	}
	for name, test := range map[string]struct {
		age  time.Duration
		want []int64
	}{
		"the old digests":                        {day, []int64{5, 4}},
		"of two at one moment the lower ID":      {4 * day, []int64{7, 5, 4}},
		"nothing when the clock was wrong by 14": {-14 * day, nil},
	} {
		t.Run(name, func(t *testing.T) {
			if got := mail.Outdated(waiting, queued.Add(test.age)); !slices.Equal(got, test.want) {
				t.Fatalf("got %v, want %v", got, test.want)
			}
		})
	}
}

func TestDueNow(t *testing.T) {
	for name, test := range map[string]struct {
		in   time.Duration
		want bool
	}{
		"passed": {-time.Second, true}, "now": {0, true}, "in an hour": {time.Hour, false},
		"in six hours": {6 * time.Hour, false}, "tomorrow: the clock went back": {24 * time.Hour, true},
	} {
		t.Run(name, func(t *testing.T) {
			if got := mail.DueNow(queued.Add(test.in), queued); got != test.want {
				t.Fatalf("got %v", got)
			}
		})
	}
}
