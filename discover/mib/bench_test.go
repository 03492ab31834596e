package mib_test

import (
	"testing"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// BenchmarkCollect reads recorded devices over a link that takes 20 ms each way.
// Package snmp's benchmark of the same name has net-snmp's snmpbulkwalk over the
// same link beside it.
func BenchmarkCollect(b *testing.B) {
	for _, name := range []string{"cisco_16_switch", "camera-a", "switch-bridgeport-not-ifindex"} {
		b.Run(name, func(b *testing.B) {
			c := dialSlow(b, name)
			requests := 0
			for b.Loop() {
				before := c.Stats().Requests
				got := mib.Collect(b.Context(), c, mib.Request{Device: "quay-switch", Contexts: inventory.ContextsOne})
				if got.Err != nil {
					b.Fatal(got.Err)
				}
				requests = c.Stats().Requests - before
			}
			b.ReportMetric(float64(requests), "requests")
		})
		b.Run("pulse/"+name, func(b *testing.B) {
			c := dialSlow(b, name)
			for b.Loop() {
				if got := mib.Pulse(b.Context(), c, mib.Request{Device: "quay-switch"}); got.Err != nil {
					b.Fatal(got.Err)
				}
			}
		})
	}
}

func dialSlow(b *testing.B, recording string) *snmp.Client {
	b.Helper()
	a, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"public"}, Rows: simnettest.Recording(b, recording)})
	if err != nil {
		b.Fatal(err)
	}
	target := simnettest.StartRelay(b, &simnet.Relay{Target: simnettest.Start(b, a), Delay: 20 * time.Millisecond})
	c, err := snmp.Dial(b.Context(), target, snmp.Credentials{Version: "2c", Community: "public"}, snmp.Options{MaxTotal: 1 << 40})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	return c
}
