package store_test

import (
	"slices"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

func TestDigestWeeks(t *testing.T) {
	l := open(t)
	for k, week := range []string{"2026-W44", "2026-W45", "2026-W46"} {
		if _, err := l.EnqueueDigest(t.Context(), week, nil, noon.AddDate(0, 0, 7*k)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := l.DigestWeeks(t.Context(), noon.AddDate(0, 0, 7))
	if want := []string{"2026-W45", "2026-W46"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v, %v, want %v", got, err, want)
	}
}

func TestHasten(t *testing.T) {
	l := open(t)
	if _, err := l.Enqueue(t.Context(), store.Letter{Kind: "urgent", Body: []byte("x"), Key: "a"}, noon); err != nil {
		t.Fatal(err)
	}
	w, _ := l.Waiting(t.Context())
	if err := l.Deferred(t.Context(), w[0].ID, "no route", noon.Add(6*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if due, _ := l.Due(t.Context(), noon.Add(time.Hour)); len(due) != 0 {
		t.Fatal("due before its time")
	}
	if err := l.Hasten(t.Context(), noon.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if due, _ := l.Due(t.Context(), noon.Add(time.Hour)); len(due) != 1 || due[0].Attempts != 1 {
		t.Errorf("due: %+v", due)
	}
}

// A mail to two readers is promised once to each, whatever repeats it.
func TestToldOnce(t *testing.T) {
	l := open(t)
	save(t, l, quay(), look(noon), finding("link-down", "quay-switch/5"))
	eps, _ := l.Episodes(t.Context(), time.Time{})
	for k := range 3 {
		m := store.Letter{Kind: "urgent", Body: []byte("x"), Key: "urgent/a/" + string(rune('0'+k)), Target: "a@example.net"}
		n := store.Letter{Kind: "urgent", Body: []byte("x"), Key: "urgent/b/" + string(rune('0'+k)), Target: "b@example.net"}
		if err := l.Told(t.Context(), []int64{eps[0].ID}, false, m, noon, n); err != nil {
			t.Fatal(err)
		}
	}
	if w, _ := l.Waiting(t.Context()); len(w) != 2 || w[0].Target == w[1].Target {
		t.Errorf("waiting: %+v", w)
	}
}

func TestTraffic(t *testing.T) {
	l := open(t)
	ref := inventory.PortRef{Device: "quay-switch", Port: "8"}
	for k, octets := range []uint64{1000, 1000 + 112_500_000, 1000 + 2*112_500_000 + 225_000_000, 500, 500 + 112_500_000} { // 15 min: 1, 3, restart, 1 Mbit/s
		s := look(noon.Add(time.Duration(k) * 15 * time.Minute))
		in, out := octets, uint64(0)
		s.Ports = []inventory.PortState{{Switch: "quay-switch", Port: "8", Speed: 1e9, Counters: inventory.PortCounters{In: &in, Out: &out}}}
		save(t, l, quay(), s)
	}
	r, ok, err := l.Traffic(t.Context(), ref, noon)
	if err != nil || !ok || r.InPeak != 3e6 || r.In != 1_666_666 || r.Out != 0 {
		t.Errorf("%+v %v %v", r, ok, err)
	}
	if _, ok, _ := l.Traffic(t.Context(), inventory.PortRef{Device: "quay-switch", Port: "9"}, noon); ok {
		t.Error("traffic on a port that nobody read")
	}
	if c, s, err := l.CountRuns(t.Context(), noon.Add(-time.Hour)); c != 5 || s != 0 || err != nil {
		t.Errorf("%d runs, %d stopped, %v", c, s, err)
	}
}
