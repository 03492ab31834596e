package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/store"
)

func cam() store.LoginTry {
	return store.LoginTry{Device: "slip-cam", MAC: mac(0x31), Entry: "dome", Over: "rtsp", At: noon.Add(time.Millisecond),
		Asked: "never tried before", Firmware: "2.1"}
}

var camMACs = []inventory.MAC{mac(0x31)}

// A try is noted before it is sent, found by name and by MAC, and ended once.
func TestLoginTries(t *testing.T) {
	l := open(t)
	ctx := t.Context()
	id, err := l.ReserveLogin(ctx, cam(), camMACs, 0)
	if err != nil {
		t.Fatal(err)
	}
	want := cam()
	want.ID, want.Outcome, want.At = id, store.LoginReserved, noon.Add(time.Second) // never earlier than it was
	for _, by := range []struct {
		device string
		macs   []inventory.MAC
		want   int
	}{{"slip-cam", nil, 1}, {"renamed", camMACs, 1}, {"renamed", []inventory.MAC{mac(9)}, 0}, {"", nil, 1}} {
		got, err := l.LoginTries(ctx, by.device, by.macs)
		if err != nil || len(got) != by.want || by.want > 0 && !sameTry(got[0], want) {
			t.Errorf("by %q %v: %+v, %v; want %d of %+v", by.device, by.macs, got, err, by.want, want)
		}
	}
	if h := history(t, l, noon); len(h.Logins["slip-cam"]) != 0 {
		t.Errorf("a try without an end is told as a result: %+v", h.Logins)
	}
	end := store.LoginTry{Outcome: "locked", Why: "stopped: status 423", Sent: 1, Lock: "status 423", Fingerprint: "ab"}
	if err := l.RecordLogin(ctx, id, end); err != nil {
		t.Fatal(err)
	}
	if err := l.RecordLogin(ctx, id, end); err == nil {
		t.Error("an end was stored twice")
	}
	want.Outcome, want.Why, want.Sent, want.Lock, want.Fingerprint = end.Outcome, end.Why, end.Sent, end.Lock, end.Fingerprint
	if got, err := l.LoginTries(ctx, "slip-cam", nil); err != nil || len(got) != 1 || !sameTry(got[0], want) {
		t.Errorf("got %+v, %v; want %+v", got, err, want)
	}
	h := history(t, l, noon)
	if got := h.Logins["slip-cam"]; len(got) != 1 || got[0].Outcome != "locked" || got[0].Fingerprint != "ab" || h.Prints["slip-cam rtsp"] != "ab" {
		t.Errorf("history: %+v, prints %v", got, h.Prints)
	}
}

// sameTry compares two tries; times of different zones may be one.
func sameTry(a, b store.LoginTry) bool {
	at := a.At.Equal(b.At)
	a.At, b.At = time.Time{}, time.Time{}
	return at && a == b
}

// Only what stands in the way is cleared, by name or by MAC.
func TestClearLock(t *testing.T) {
	l := open(t)
	ctx := t.Context()
	for i, x := range []struct {
		device, lock string
		at           time.Time
	}{{"slip-cam", "status 423", noon}, {"slip-cam", "", noon}, {"slip-cam", "", noon.AddDate(1, 0, 0)}, {"other-cam", "status 429", noon}} {
		try := cam()
		try.Device, try.At, try.MAC = x.device, x.at, mac(byte(i+1))
		id, err := l.ReserveLogin(ctx, try, nil, map[string]int{"slip-cam": i, "other-cam": 0}[x.device])
		if err != nil {
			t.Fatal(err)
		}
		if err := l.RecordLogin(ctx, id, store.LoginTry{Outcome: "refused", Lock: x.lock, Sent: 1}); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []int{2, 0} {
		if n, err := l.ClearLock(ctx, "slip-cam", nil, noon); err != nil || n != want {
			t.Errorf("%d cleared, %v; want %d", n, err, want)
		}
	}
	if n, err := l.ClearLock(ctx, "renamed", []inventory.MAC{mac(4)}, noon); err != nil || n != 1 {
		t.Errorf("by MAC: %d cleared, %v; want 1", n, err)
	}
}

// Of many who saw the same past, one gets the try, also over several handles.
func TestReserveLoginOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	books := []*store.Logbook{openAt(t, path), openAt(t, path)}
	errs := make([]error, 16)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() { _, errs[i] = books[i%2].ReserveLogin(context.Background(), cam(), camMACs, 0) })
	}
	wg.Wait()
	won := 0
	for _, err := range errs {
		switch {
		case err == nil:
			won++
		case !errors.Is(err, store.ErrLoginTaken):
			t.Error(err)
		}
	}
	if won != 1 {
		t.Errorf("%d got the try, want 1", won)
	}
}

// The note is there after a kill right behind it.
func TestReservedBeforeAKill(t *testing.T) {
	if path := os.Getenv(childVar); path != "" {
		l := openAt(t, path)
		if _, err := l.ReserveLogin(t.Context(), cam(), camMACs, 0); err != nil {
			t.Fatal(err)
		}
		fmt.Println("reserved")
		killSelf()
	}
	path := filepath.Join(t.TempDir(), "logbook.db")
	out, err := child(t, "TestReservedBeforeAKill", path).Output()
	if err == nil {
		t.Fatalf("the child was not killed: %s", out)
	}
	got, err := openAt(t, path).LoginTries(t.Context(), "slip-cam", nil)
	if err != nil || len(got) != 1 || got[0].Outcome != store.LoginReserved {
		t.Errorf("after a kill: %+v, %v (child: %s)", got, err, out)
	}
}
