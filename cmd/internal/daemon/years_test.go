package daemon

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/schedule"
	"boundwalk/store"
)

// TestTenYears asks the daemon and its logbook for digests through ten years
// of three zones: with restarts, weeks and months without power, and a clock
// that is a day behind now and then. Each ISO week in which it was asked gets
// its digest, once.
func TestTenYears(t *testing.T) {
	for _, name := range []string{"Europe/Dublin", "America/Santiago", "Australia/Lord_Howe"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			loc, err := time.LoadLocation(name)
			if err != nil {
				t.Fatal(err)
			}
			y := newYears(t, loc)
			for week := range tenYears {
				y.week(t, y.start.AddDate(0, 0, 7*week))
			}
			y.check(t)
		})
	}
}

// years are years of one daemon.
type years struct {
	dir    string
	loc    *time.Location
	start  time.Time // a Monday at 08:00, when a digest is due
	d      *Daemon
	book   *store.Logbook
	chance *rand.Rand
	off    int // weeks for which it stays without power
	want   []string
	back   int // how often the clock was behind
}

func newYears(t *testing.T, loc *time.Location) *years {
	t.Helper()
	y := &years{dir: t.TempDir(), loc: loc, start: time.Date(2026, 2, 2, 8, 0, 0, 0, loc), chance: rand.New(rand.NewPCG(10, uint64(len(loc.String()))))}
	plan := strings.Replace(fmt.Sprintf(planText, "127.0.0.1:25"), "Europe/Dublin", loc.String(), 1)
	if err := os.WriteFile(filepath.Join(y.dir, "plan.yaml"), []byte(plan), 0o600); err != nil {
		t.Fatal(err)
	}
	y.restart(t)
	if err := y.book.SetFact(t.Context(), "serving since", y.start.Add(-time.Hour).UTC().Format(time.RFC3339)); err != nil {
		t.Fatal(err)
	}
	y.restart(t)
	return y
}

func (y *years) restart(t *testing.T) {
	t.Helper()
	if y.book != nil {
		if err := y.book.Close(); err != nil {
			t.Fatal(err)
		}
	}
	var err error
	if y.book, err = store.Open(t.Context(), filepath.Join(y.dir, "logbook.db")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { y.book.Close() })
	if y.d, err = New(t.Context(), Options{PlanPath: filepath.Join(y.dir, "plan.yaml"), Book: y.book}); err != nil {
		t.Fatal(err)
	}
}

// week asks around the planned time, at which the clock may have just changed,
// and at random times after it, or at none of them.
func (y *years) week(t *testing.T, planned time.Time) {
	if y.off > 0 {
		y.off--
		return
	}
	if y.chance.IntN(25) == 0 {
		y.off = y.chance.IntN(9)
	}
	if y.chance.IntN(15) == 0 {
		y.restart(t)
	}
	asks := []time.Duration{-time.Minute, 0, time.Hour}
	if y.chance.IntN(6) == 0 {
		asks = asks[:1] // the power goes just before, and comes back some time in the week, or does not
	}
	for range y.chance.IntN(4) {
		asks = append(asks, time.Hour+time.Duration(y.chance.IntN(166*60))*time.Minute)
	}
	slices.Sort(asks)
	for _, after := range asks {
		now := planned.Add(after)
		if y.chance.IntN(12) == 0 {
			now = now.Add(-24 * time.Hour)
			y.back++
		}
		y.ask(t, now)
	}
}

// ask is what each pulse does, twice where the first asks for a run before the
// mail; and it notes what is to come of it: the digest of the week that has
// begun at the last Monday 08:00, unless a later one has had its own.
func (y *years) ask(t *testing.T, now time.Time) {
	owed := y.d.owed
	y.d.weekly(t.Context(), now)
	if y.d.owed != owed {
		y.d.weekly(t.Context(), now)
		waiting, err := y.book.Waiting(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range waiting {
			if err := y.book.Sent(t.Context(), m.ID, "250 taken", now); err != nil {
				t.Fatal(err)
			}
		}
	}
	monday := now.In(y.loc)
	for monday = time.Date(monday.Year(), monday.Month(), monday.Day(), 8, 0, 0, 0, y.loc); monday.Weekday() != time.Monday || monday.After(now); {
		monday = time.Date(monday.Year(), monday.Month(), monday.Day()-1, 8, 0, 0, 0, y.loc)
	}
	week := schedule.WeekOf(monday).String()
	if !monday.Before(y.start) && (len(y.want) == 0 || week > y.want[len(y.want)-1]) {
		y.want = append(y.want, week)
	}
}

func (y *years) check(t *testing.T) {
	got, err := y.book.DigestWeeks(t.Context(), time.Time{})
	if err != nil || !slices.Equal(got, y.want) {
		for k := range min(len(got), len(y.want)) {
			if got[k] != y.want[k] {
				t.Fatalf("the first difference is %s, want %s", got[k], y.want[k])
			}
		}
		t.Fatalf("%d digests, want %d, %v", len(got), len(y.want), err)
	}
	letters, err := y.book.Letters(t.Context(), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	for _, m := range letters {
		ids[m.Message] = true
	}
	if len(letters) != 2*len(got) || len(ids) != len(letters) {
		t.Errorf("%d letters with %d Message-IDs for %d digests to two readers", len(letters), len(ids), len(got))
	}
	if len(got) < tenYears*2/3 || y.back < tenYears/8 {
		t.Errorf("%d digests, %d times the clock was behind: too little to prove anything", len(got), y.back)
	}
	t.Logf("%d digests, %d times the clock was behind", len(got), y.back)
}
