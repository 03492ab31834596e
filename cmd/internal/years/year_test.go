package years_test

import (
	"database/sql"
	"fmt"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"boundwalk/cmd/internal/post"
	"boundwalk/inventory"
	"boundwalk/store"

	_ "modernc.org/sqlite"
)

// How long the logbook keeps what, as README and store promise.
const (
	rawKept   = 35 * 24 * time.Hour
	hoursKept = 366 * 24 * time.Hour
)

// The port and the supply that the years watch: a camera on the first switch.
var (
	watchedPort = inventory.PortRef{Device: "quay-switch", Port: "9"}
)

// A service is a site with its logbook, and what the logbook should hold of the
// watched port, kept without it.
type service struct {
	*site
	book    *store.Logbook
	path    string
	thinned time.Time
	raw     []store.DrawSample // of the runs
	all     []store.DrawSample // of runs and pulses
}

func newService(t testing.TB, start time.Time) *service {
	t.Helper()
	s := &service{site: newSite(t, start)}
	s.book, s.path = open(t)
	return s
}

// step is one run, with the pulse that comes before it where pulse says so, and
// the daily thinning.
func (s *service) step(t testing.TB, at time.Time, pulse bool) {
	t.Helper()
	if pulse {
		before := at.Add(-7 * time.Minute)
		p := store.PulseSample{At: before, Up: map[string]bool{"quay-switch": true}}
		for k := 1; k <= 24; k++ {
			p.Ports = append(p.Ports, store.PortDraw{Port: inventory.PortRef{Device: "quay-switch", Port: fmt.Sprint(k)}, Draw: s.draw("quay-switch", k, before)})
		}
		if err := s.book.SavePulse(t.Context(), s.plan, p); err != nil {
			t.Fatal(err)
		}
		s.all = append(s.all, store.DrawSample{At: before, Draw: s.draw("quay-switch", 9, before)})
	}
	s.run(t, s.book, at)
	if s.gone["quay-switch"] == 0 {
		x := store.DrawSample{At: at, Draw: s.draw("quay-switch", 9, at)}
		s.raw, s.all = append(s.raw, x), append(s.all, x)
	}
	if at.Sub(s.thinned) >= 24*time.Hour {
		s.thinned = at
		if err := s.book.Thin(t.Context(), at); err != nil {
			t.Fatal(err)
		}
	}
}

// span is what an hour or a day of draws adds up to.
type span struct{ Peak, PeakAt, Sum, Samples int64 }

// spansOf adds samples up the slow way, oldest first: of equal peaks the first counts.
func spansOf(samples []store.DrawSample, begin func(time.Time) time.Time) map[int64]span {
	out := map[int64]span{}
	for _, x := range samples {
		k := begin(x.At).Unix()
		sp := out[k]
		if sp.Samples == 0 || int64(x.Draw) > sp.Peak {
			sp.Peak, sp.PeakAt = int64(x.Draw), x.At.Unix()
		}
		sp.Sum += int64(x.Draw)
		sp.Samples++
		out[k] = sp
	}
	return out
}

// wantKept compares what the logbook kept of the watched port until now with
// what it should have: samples of 35 days, an hour's peak and mean for a year,
// a day's for ever, and the peaks exactly.
func (s *service) wantKept(t testing.TB, now time.Time) {
	t.Helper()
	if err := s.book.Thin(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	edge := now.Add(-rawKept).Truncate(time.Hour)
	split := slices.IndexFunc(s.raw, func(x store.DrawSample) bool { return !x.At.Before(edge) })
	if split < 0 {
		split = len(s.raw)
	}
	got, err := s.book.PortSamples(t.Context(), watchedPort, edge)
	if err != nil || !slices.Equal(got, s.raw[split:]) {
		t.Errorf("%d samples of 35 days, want %d, %v", len(got), len(s.raw)-split, err)
	}
	hours := spansOf(s.raw[:split], func(at time.Time) time.Time { return at.Truncate(time.Hour) })
	maps.DeleteFunc(hours, func(hour int64, _ span) bool { return hour < now.Add(-hoursKept).Unix() })
	for k, h := range hours {
		h.Sum /= h.Samples
		hours[k] = h
	}
	days := spansOf(s.all, func(at time.Time) time.Time {
		y, m, d := at.In(s.plan.Site.Location).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, s.plan.Site.Location)
	})
	db := beside(t, s.path)
	const of = ` FROM %[1]s h JOIN ports p ON p.id = h.port WHERE p.switch = ? AND p.port = ?`
	if got := spansIn(t, db, fmt.Sprintf(`SELECT hour, peak, peak_at, mean, samples`+of, "port_hours")); !maps.Equal(got, hours) {
		t.Errorf("%d hours differ from the %d reckoned", len(got), len(hours))
	}
	if got := spansIn(t, db, fmt.Sprintf(`SELECT day, peak, peak_at, total, samples`+of, "port_days")); !maps.Equal(got, days) {
		t.Errorf("%d days differ from the %d reckoned", len(got), len(days))
	}
	if len(days) == 0 || split > 0 && now.Sub(s.raw[split-1].At) < hoursKept && len(hours) == 0 {
		t.Errorf("too little to prove anything: %d hours, %d days", len(hours), len(days))
	}
	var sound string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&sound); err != nil || sound != "ok" {
		t.Errorf("integrity: %s, %v", sound, err)
	}
}

func spansIn(t testing.TB, db *sql.DB, q string) map[int64]span {
	t.Helper()
	rows, err := db.Query(q, watchedPort.Device, watchedPort.Port)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	out := map[int64]span{}
	for rows.Next() {
		var k int64
		var s span
		if err := rows.Scan(&k, &s.Peak, &s.PeakAt, &s.Sum, &s.Samples); err != nil {
			t.Fatal(err)
		}
		out[k] = s
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// beside opens the logbook's file as another program would.
func beside(t testing.TB, path string) *sql.DB {
	t.Helper()
	u := url.URL{Scheme: "file", OmitHost: true, Path: path, RawQuery: "mode=ro&_pragma=busy_timeout(10000)"}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// size is the logbook's, in bytes, with what lies beside it.
func (s *service) size(t testing.TB) int64 {
	t.Helper()
	files, err := filepath.Glob(s.path + "*")
	if err != nil {
		t.Fatal(err)
	}
	var sum int64
	for _, f := range files {
		i, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		sum += i.Size()
	}
	return sum
}

// A day of 15-minute runs grows old: its samples become hours after 35 days,
// and the hours go after a year; its days stay.
func TestRetention(t *testing.T) {
	start := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	s := newService(t, start)
	at := start
	until := func(end time.Time, every time.Duration) {
		for ; at.Before(end); at = at.Add(every) {
			s.step(t, at, at.Minute() == 0)
		}
	}
	until(start.Add(24*time.Hour/slower), 15*time.Minute)
	s.wantKept(t, at)
	until(start.AddDate(0, 0, 37), slower*9*time.Hour)
	s.wantKept(t, at)
	until(start.AddDate(0, 14, 0), slower*14*24*time.Hour)
	s.wantKept(t, at)
}

// A year of 15-minute runs with an hourly pulse. It tells the size of the logbook after
// thinning, the time to build the digest from it, and what a run costs at the end.
func BenchmarkYear(b *testing.B) {
	for b.Loop() {
		start := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
		s := newService(b, start)
		end := start.AddDate(1, 0, 0)
		last := time.Now()
		var runs int
		for at := start; at.Before(end); at = at.Add(15 * time.Minute) {
			if end.Sub(at) == 24*time.Hour {
				last = time.Now()
			}
			s.step(b, at, at.Minute() == 0)
			runs++
		}
		b.ReportMetric(float64(time.Since(last).Milliseconds())/96, "ms/last-run")
		if runs != 365*96 {
			b.Fatalf("%d runs", runs)
		}
		s.wantKept(b, end)
		b.ReportMetric(float64(s.size(b))/1e6, "MB")
		began := time.Now()
		in, err := post.Gather(b.Context(), s.book, s.plan, end, post.Options{Week: "2027-W01"})
		if err != nil {
			b.Fatal(err)
		}
		letters, err := post.Weekly(s.plan, in, "2027-W01")
		if err != nil || len(letters) != 1 {
			b.Fatal(len(letters), err)
		}
		b.ReportMetric(float64(time.Since(began).Milliseconds()), "ms/digest")
	}
}
