package arp_test

import (
	"errors"
	"net/netip"
	"slices"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/arp"
)

// Gear with the address of its factory, and a default route as it comes with,
// answers who asks from another network.
func TestForeign(t *testing.T) {
	t.Parallel()
	near, far := cable(t)
	far.MAC("eth0", "00:00:5e:00:53:31")
	far.Address("eth0", netip.MustParsePrefix("198.51.100.8/28"))
	far.Exec("ip", "route", "add", "default", "via", "198.51.100.1")
	foreign := func(in *netns.Namespace) (r arp.Result, err error) {
		in.Do(func() {
			r, err = arp.Foreign(t.Context(), "eth0", arp.Options{Prefix: netip.MustParsePrefix("198.51.100.0/28"), Rate: 1000})
		})
		return r, err
	}
	got, err := foreign(near)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"198.51.100.8 -31 1"}; !slices.Equal(show(got.Replies), want) || !got.Complete || got.Sender.String() != auditor || got.Sent != 14 {
		t.Errorf("got %q, complete %v, %d sent from %s; want %q, 14 from %s", show(got.Replies), got.Complete, got.Sent, got.Sender, want, auditor)
	}
	near.Exec("ip", "addr", "flush", "dev", "eth0")
	if got, err := foreign(near); !errors.Is(err, arp.ErrNotRun) || got.Sent != 0 {
		t.Errorf("without an address: error %v, %d sent", err, got.Sent)
	}
}
