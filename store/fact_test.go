package store_test

import (
	"context"
	"testing"

	"boundwalk/store"
)

// Facts of a run are there with it, or not at all.
func TestFactsOfARun(t *testing.T) {
	ctx := context.Background()
	l := open(t)
	fact := func() string {
		t.Helper()
		v, err := l.Fact(ctx, "commissioned slip-cam")
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	snap := look(noon)
	for _, c := range []struct{ value, want string }{{"first", "first"}, {"second", "second"}} {
		id, err := l.Begin(ctx, "commission", snap.Started)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := l.Save(ctx, id, quay(), snap, nil, false, store.Fact{Name: "commissioned slip-cam", Value: c.value}); err != nil {
			t.Fatal(err)
		}
		if got := fact(); got != c.want {
			t.Errorf("kept %q, want %q", got, c.want)
		}
	}
	if _, err := l.Save(ctx, 99, quay(), snap, nil, false, store.Fact{Name: "commissioned slip-cam", Value: "third"}); err == nil || fact() != "second" {
		t.Errorf("a run that is not open: %v, kept %q", err, fact())
	}
}
