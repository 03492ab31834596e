package arp_test

import (
	"net/netip"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/arp"
)

// BenchmarkSweep16 asks for a /16 at 20,000 a second, where every address
// answers. It fails if one reply is lost.
func BenchmarkSweep16(b *testing.B) {
	near, far := netns.New(b), netns.New(b)
	netns.Veth(near, "eth0", far, "eth0")
	near.Address("eth0", netip.MustParsePrefix("198.18.0.1/16")) // benchmarking, RFC 2544
	far.Exec("ip", "route", "add", "local", "198.18.0.0/16", "dev", "lo")
	far.Exec("ip", "route", "add", "198.18.0.1/32", "dev", "eth0")
	far.Exec("ip", "addr", "add", "198.18.255.255/32", "dev", "eth0")
	for b.Loop() {
		var r arp.Result
		var err error
		near.Do(func() {
			r, err = arp.Sweep(b.Context(), "eth0", arp.Options{Prefix: netip.MustParsePrefix("198.18.0.0/16"), Rate: 20_000})
		})
		if err != nil {
			b.Fatal(err)
		}
		if len(r.Replies) != 65_533 || !r.Complete {
			b.Fatalf("%d of 65,533 replies, %d drops, %s", len(r.Replies), r.Drops, r.Why)
		}
		b.ReportMetric(float64(r.Drops), "drops")
		b.ReportMetric(float64(len(r.Replies)), "replies")
	}
}
