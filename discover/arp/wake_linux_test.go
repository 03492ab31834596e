package arp_test

import (
	"errors"
	"net/netip"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/arp"
)

// Without the right to open a raw socket Sweep and Listen say so, and Wake
// finds the same hosts by way of the kernel, and says what it cannot see.
func TestWithoutRights(t *testing.T) {
	if netns.Inside() {
		withoutRights(t)
		return
	}
	t.Parallel()
	near, far := cable(t)
	far.MAC("eth0", "00:00:5e:00:53:11")
	far.Address("eth0", netip.MustParsePrefix("203.0.113.17/24"), netip.MustParsePrefix("203.0.113.20/24"), netip.MustParsePrefix("203.0.113.21/24"))
	peer := newStation(t, far, nil)
	near.Exec("ip", "neigh", "add", "203.0.113.25", "lladdr", "00:00:5e:00:53:25", "dev", "eth0", "nud", "stale") // long gone
	near.Exec("ip", "neigh", "add", "203.0.113.99", "lladdr", "00:00:5e:00:53:99", "dev", "eth0", "nud", "permanent")
	near.RerunAs(t, 65534)
	for a, want := range map[string]int{"203.0.113.17": 1, "203.0.113.18": 3, "203.0.113.20": 0, "203.0.113.22": 0} {
		if n := peer.asked(a); n != want {
			t.Errorf("%s was asked %d times, want %d", a, n, want)
		}
	}
}

func withoutRights(t *testing.T) {
	opts := arp.Options{
		Prefix:     netip.MustParsePrefix("203.0.113.0/24"),
		Rate:       1000,
		LeaveAlone: []netip.Addr{netip.MustParseAddr("203.0.113.20")},
		Skip:       []netip.Addr{netip.MustParseAddr("203.0.113.22")},
	}
	if r, err := arp.Sweep(t.Context(), "eth0", opts); !errors.Is(err, os.ErrPermission) || r.Sent != 0 {
		t.Errorf("Sweep: error %v, %d sent; want os.ErrPermission and none", err, r.Sent)
	}
	if _, err := arp.Listen(t.Context(), "eth0", arp.ListenOptions{}); !errors.Is(err, os.ErrPermission) {
		t.Errorf("Listen: error %v, want os.ErrPermission", err)
	}
	started := time.Now()
	got, err := arp.Wake(t.Context(), "eth0", opts)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"203.0.113.17 -11 1", "203.0.113.21 -11 1"}; !slices.Equal(show(got.Replies), want) {
		t.Errorf("answers %q, want %q", show(got.Replies), want)
	}
	if len(got.Replies) > 0 && got.Replies[0].Seen.Before(started.Add(-time.Second)) {
		t.Errorf("seen at %v, want after %v", got.Replies[0].Seen, started)
	}
	if slices.Contains(show(got.Replies), "203.0.113.25 -25 1") {
		t.Error("a neighbour that did not answer is called present")
	}
	if got.Complete || !strings.Contains(got.Why, "no right") || !strings.Contains(got.Why, "not asked: 1") {
		t.Errorf("complete %v, why %q", got.Complete, got.Why)
	}
	list, err := arp.Neighbors(t.Context(), "eth0")
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(list, func(n arp.Neighbor) bool { return n.Addr.String() == "203.0.113.99" })
	if i < 0 || list[i].State != arp.Permanent || list[i].MAC != mac(0x99) || list[i].Iface != "eth0" {
		t.Errorf("neighbours are %+v, want .99 as permanent", list)
	}
	if none, err := arp.Neighbors(t.Context(), "lo"); err != nil || len(none) != 0 {
		t.Errorf("neighbours on lo: %+v, %v", none, err)
	}
}
