package store_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

// span is what an hour or a day adds up to.
type span struct{ Peak, PeakAt, Total, Samples int64 }

// twin adds up samples the slow way: sample by sample into spans that begin
// where begin says.
func twin(samples []store.DrawSample, begin func(time.Time) time.Time) map[int64]span {
	out := map[int64]span{}
	for _, s := range samples {
		k := begin(s.At).Unix()
		sp := out[k]
		if sp.Samples == 0 || int64(s.Draw) > sp.Peak {
			sp.Peak, sp.PeakAt = int64(s.Draw), s.At.Unix()
		}
		sp.Total += int64(s.Draw)
		sp.Samples++
		out[k] = sp
	}
	return out
}

// thinnedYear saves a year and more of runs at random times, thins in between
// and at the end, and gives the samples that went in.
func thinnedYear(t *testing.T, l *store.Logbook, zone *time.Location) (samples []store.DrawSample, now time.Time) {
	t.Helper()
	pl := quay()
	pl.Site.Location = zone
	chance := rand.New(rand.NewPCG(7, 35))
	at := noon
	for n := range 500 / slower {
		at = at.Add(time.Duration(1+chance.IntN(900)) * time.Second) // several in an hour
		if n%10 == 0 {
			at = at.Add(slower * time.Duration(chance.IntN(24*24)) * time.Hour)
		}
		s := look(at)
		draw := inventory.Power(1000 + n + 1000*chance.IntN(12)) // no two are equal
		s.Ports[0].Power.Draw, s.Supplies[0].Used = &draw, &draw
		save(t, l, pl, s)
		samples = append(samples, store.DrawSample{At: at, Draw: draw})
		if n%60 == 0 {
			if err := l.Thin(t.Context(), at); err != nil {
				t.Fatal(err)
			}
		}
	}
	now = at.Add(time.Hour)
	for range 2 { // the second time changes nothing
		if err := l.Thin(t.Context(), now); err != nil {
			t.Fatal(err)
		}
	}
	return samples, now
}

// Raw samples of 35 days, hours of a year and all days are what a naive twin makes
// of the same samples.
func TestThinEqualsNaiveTwin(t *testing.T) {
	l := openAt(t, filepath.Join(t.TempDir(), "logbook.db"))
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	samples, now := thinnedYear(t, l, dublin)
	raws := now.Add(-35 * 24 * time.Hour).Truncate(time.Hour)
	year := now.Add(-366 * 24 * time.Hour)
	split := slices.IndexFunc(samples, func(s store.DrawSample) bool { return !s.At.Before(raws) })
	hourOf := func(t time.Time) time.Time { return t.UTC().Truncate(time.Hour) }
	hours := twin(samples[:split], hourOf)
	maps.DeleteFunc(hours, func(hour int64, _ span) bool { return hour < year.Unix() })
	days := twin(samples, func(t time.Time) time.Time {
		y, m, d := t.In(dublin).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, dublin)
	})
	if split*slower < 100 || (len(samples)-split)*slower < 20 || len(hours)*slower < 50 || len(days)*slower < 40 ||
		!samples[len(samples)-1].At.After(noon.AddDate(0, 13, 0)) {
		t.Fatalf("too little to prove anything: %d old and %d new samples, %d hours, %d days, until %v", split, len(samples)-split, len(hours), len(days), now)
	}

	port, supply := inventory.PortRef{Device: "quay-switch", Port: "5"}, inventory.SupplyRef{Switch: "quay-switch", Supply: "1"}
	for kind, read := range map[string]func() ([]store.DrawSample, error){
		"port":   func() ([]store.DrawSample, error) { return l.PortSamples(t.Context(), port, raws) },
		"supply": func() ([]store.DrawSample, error) { return l.SupplySamples(t.Context(), supply, raws) },
	} {
		got, err := read()
		if err != nil || !slices.Equal(got, samples[split:]) {
			t.Errorf("%s: %d raw samples are left, want %d, %v", kind, len(got), len(samples)-split, err)
		}
		if got := spans(t, l, kind+"_hours", "hour", "mean"); !sameSpans(got, hours, true) {
			t.Errorf("%s: %d hours differ from the twin's %d", kind, len(got), len(hours))
		}
		if got := spans(t, l, kind+"_days", "day", "total"); !sameSpans(got, days, false) {
			t.Errorf("%s: %d days differ from the twin's %d", kind, len(got), len(days))
		}
	}
	// What is read across both is the hours' highest, then the samples.
	all, err := l.PortSamples(t.Context(), port, year)
	if err != nil || len(all) != len(hours)+len(samples)-split || !slices.IsSortedFunc(all, func(a, b store.DrawSample) int { return a.At.Compare(b.At) }) {
		t.Errorf("over a year: %d samples, %v", len(all), err)
	}
}

// spans reads a table of hours or days; where it holds a mean, Total is that.
func spans(t *testing.T, l *store.Logbook, table, key, sum string) map[int64]span {
	t.Helper()
	rows, err := l.DB().Query(fmt.Sprintf("SELECT %s, peak, peak_at, %s, samples FROM %s", key, sum, table))
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	out := map[int64]span{}
	for rows.Next() {
		var k int64
		var s span
		if err := rows.Scan(&k, &s.Peak, &s.PeakAt, &s.Total, &s.Samples); err != nil {
			t.Fatal(err)
		}
		out[k] = s
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func sameSpans(got, want map[int64]span, mean bool) bool {
	return maps.EqualFunc(got, want, func(g, w span) bool {
		if mean {
			w.Total /= w.Samples
		}
		return g == w
	})
}

// What is past its time goes: aborted runs, strangers, their places, old
// letters. What is planned, open or still to go stays.
func TestThinDropsTheOld(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	l := openAt(t, path)
	ctx := t.Context()
	stranger := look(noon)
	stranger.Devices = append(stranger.Devices, inventory.SeenDevice{Name: mac(0x66).String(), MACs: []inventory.MAC{mac(0x66)}, Presence: inventory.Present,
		Addrs: stranger.Devices[0].Addrs, Place: inventory.Place{Switch: "quay-switch", Port: "9", Basis: inventory.ByFDB}})
	save(t, l, quay(), stranger)
	for range 2 { // the first becomes aborted, without an end, when the second begins
		if _, err := l.Begin(ctx, "schedule", noon.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	for _, key := range []string{"sent", "waits"} {
		if _, err := l.Enqueue(ctx, letter(key), noon); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Sent(ctx, 1, "250", noon); err != nil {
		t.Fatal(err)
	}
	now := noon.AddDate(0, 13, 0)
	for i := range 3 {
		save(t, l, quay(), look(now.Add(time.Duration(i)*time.Hour)))
	}
	if err := l.Thin(ctx, now); err != nil {
		t.Fatal(err)
	}
	for q, want := range map[string]int{
		"SELECT count(*) FROM runs":                                3,
		"SELECT count(*) FROM devices":                             2,
		"SELECT count(*) FROM places":                              1,
		"SELECT count(*) FROM coverage":                            2,
		"SELECT count(*) FROM addresses WHERE mac LIKE '%:66'":     0,
		"SELECT count(*) FROM spool WHERE key = 'sent'":            0,
		"SELECT count(*) FROM spool WHERE key = 'waits'":           1,
		"SELECT count(*) FROM claims WHERE addr = '203.0.113.131'": 1,
		"SELECT count(*) FROM port_samples":                        3,
		"SELECT count(*) FROM port_days WHERE day < 1796000000":    1,
		"SELECT count(*) FROM pragma_foreign_key_check":            0,
	} {
		if got := one[int](t, l.DB(), q); got != want {
			t.Errorf("%s: %d, want %d", q, got, want)
		}
	}
}
