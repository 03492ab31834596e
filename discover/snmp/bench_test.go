package snmp_test

import (
	"bytes"
	"fmt"
	"net/netip"
	"os/exec"
	"testing"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
)

// subtree is a table entry and its columns, or a subtree without any.
type subtree struct {
	entry    string
	from, to uint32
}

// subtrees are what a survey of a switch reads: the groups of SNMPv2-MIB,
// IF-MIB, EtherLike-MIB, IP-MIB, BRIDGE-MIB, Q-BRIDGE-MIB, LLDP-MIB,
// ENTITY-SENSOR-MIB, HOST-RESOURCES-MIB, UPS-MIB, POWER-ETHERNET-MIB, ENTITY-MIB.
var subtrees = []subtree{
	{"1.3.6.1.2.1.1", 1, 9},
	{"1.3.6.1.2.1.2.2.1", 1, 22}, {"1.3.6.1.2.1.31.1.1.1", 1, 19}, {"1.3.6.1.2.1.10.7.2.1", 1, 21},
	{"1.3.6.1.2.1.4.20.1", 1, 5}, {"1.3.6.1.2.1.4.22.1", 1, 4}, {"1.3.6.1.2.1.4.35", 0, 0},
	{"1.3.6.1.2.1.17.1.4.1", 1, 5}, {"1.3.6.1.2.1.17.4.3.1", 1, 3},
	{"1.3.6.1.2.1.17.7", 0, 0}, {"1.0.8802.1.1.2", 0, 0}, {"1.3.6.1.2.1.99", 0, 0},
	{"1.3.6.1.2.1.25", 0, 0}, {"1.3.6.1.2.1.33", 0, 0},
	{"1.3.6.1.2.1.105.1.1.1", 1, 14}, {"1.3.6.1.2.1.105.1.3", 0, 0}, {"1.3.6.1.2.1.105.1.4", 0, 0},
	{"1.3.6.1.2.1.47.1.1.1.1", 2, 16}, {"1.3.6.1.2.1.47.1.2", 0, 0}, {"1.3.6.1.2.1.47.1.3.1", 0, 0},
	{"1.3.6.1.2.1.47.1.3.2", 0, 0}, {"1.3.6.1.2.1.47.1.3.3", 0, 0}, {"1.3.6.1.2.1.47.1.4", 0, 0},
}

func groups() [][]snmp.OID {
	all := make([][]snmp.OID, len(subtrees))
	for i, s := range subtrees {
		entry := snmp.MustOID(s.entry)
		for col := s.from; col <= s.to && s.to > 0; col++ {
			all[i] = append(all[i], entry.Append(col))
		}
		if s.to == 0 {
			all[i] = []snmp.OID{entry}
		}
	}
	return all
}

// BenchmarkCollect reads the recorded 48-port switch over a link that takes 20 ms
// each way, and has net-snmp's snmpbulkwalk read the same subtrees one after
// another. The targets: at most 0.25 of -Cr10 and 1.0 of -Cr60.
func BenchmarkCollect(b *testing.B) {
	walker, err := exec.LookPath("snmpbulkwalk")
	if err != nil {
		b.Skip("no snmpbulkwalk (Debian: snmp)")
	}
	a, err := simnet.NewAgent(simnet.AgentOptions{
		Communities: []string{"public"},
		Rows:        simnettest.Recording(b, "cisco_16_switch"),
	})
	if err != nil {
		b.Fatal(err)
	}
	target := simnettest.StartRelay(b, &simnet.Relay{Target: simnettest.Start(b, a), Delay: 20 * time.Millisecond})
	var ours, cr10, cr60 time.Duration
	requests := 0
	for b.Loop() {
		start := time.Now()
		rows, stats := collect(b, target)
		ours += time.Since(start)
		requests = stats.Requests
		for reps, total := range map[int]*time.Duration{10: &cr10, 60: &cr60} {
			start = time.Now()
			if n := bulkwalk(b, walker, target, reps); n != rows {
				b.Fatalf("we read %d rows, snmpbulkwalk -Cr%d read %d", rows, reps, n)
			}
			*total += time.Since(start)
		}
		b.ReportMetric(float64(rows), "rows")
	}
	n := float64(b.N)
	b.ReportMetric(float64(requests), "requests")
	b.ReportMetric(ours.Seconds()/n, "s/collect")
	b.ReportMetric(cr10.Seconds()/n, "s/Cr10")
	b.ReportMetric(cr60.Seconds()/n, "s/Cr60")
	b.ReportMetric(ours.Seconds()/cr10.Seconds(), "of-Cr10")
	b.ReportMetric(ours.Seconds()/cr60.Seconds(), "of-Cr60")
	b.ReportMetric(0, "ns/op")
}

func collect(b *testing.B, target netip.AddrPort) (int, snmp.Stats) {
	b.Helper()
	c, err := snmp.Dial(b.Context(), target, snmp.Credentials{Version: "2c", Community: "public"}, snmp.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	rows := 0
	for i, t := range c.WalkAll(b.Context(), groups()...) {
		if t.Err != nil {
			b.Fatalf("%s: %v", subtrees[i].entry, t.Err)
		}
		rows += len(t.Rows)
	}
	return rows, c.Stats()
}

// bulkwalk counts the rows that net-snmp finds below all subtrees.
func bulkwalk(b *testing.B, walker string, target netip.AddrPort, reps int) int {
	b.Helper()
	rows := 0
	for _, s := range subtrees {
		cmd := exec.CommandContext(b.Context(), walker, "-v2c", "-c", "public", "-m", "", "-On", "-Oq", "-Ox",
			fmt.Sprintf("-Cr%d", reps), target.String(), "."+s.entry)
		out, err := cmd.Output()
		if err != nil {
			b.Fatal(cmd, err)
		}
		for line := range bytes.Lines(out) {
			if bytes.HasPrefix(line, []byte("."+s.entry+".")) && !bytes.Contains(line, []byte("No Such")) {
				rows++
			}
		}
	}
	return rows
}
