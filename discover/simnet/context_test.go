package simnet_test

import (
	"strings"
	"testing"

	"boundwalk/discover/simnet"
)

// Oracle: net-snmp's snmpget, which names a context by -n, and by a community with an index.
func TestNetSNMPReadsContexts(t *testing.T) {
	const port = "1.3.6.1.2.1.17.4.3.1.2.0.0.94.0.83.49"
	one := func(n int32) []simnet.Row { return []simnet.Row{{OID: port, Value: simnet.Integer(n)}} }
	_, at := newAgent(t, simnet.AgentOptions{Communities: []string{"quay"}, Users: []simnet.User{{Name: "open"}}, Rows: one(1),
		Contexts: []simnet.Context{{Name: "vlan-10", Index: "10", Rows: one(7)}, {Name: "named only", Rows: one(8)}}})
	v3 := []string{"-v3", "-lnoAuthNoPriv", "-uopen", "-r0", "-t1"}
	v2 := []string{"-v2c", "-r0", "-t1"}
	for _, c := range []struct {
		name string
		args []string
		want string // in the answer, or in what is said instead
	}{
		{"default context", v3, "INTEGER: 1"},
		{"context", append(v3, "-nvlan-10"), "INTEGER: 7"},
		{"unknown context", append(v3, "-nvlan-11"), "Bad context"},
		{"community", append(v2, "-cquay"), "INTEGER: 1"},
		{"community with index", append(v2, "-cquay@10"), "INTEGER: 7"},
		{"community with unknown index", append(v2, "-cquay@11"), "Timeout"},
		{"community with no index", append(v2, "-cquay@"), "Timeout"},
		{"wrong community with index", append(v2, "-cyard@10"), "Timeout"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			out, errs := netsnmp(t, "snmpget", append(c.args, at.String(), port)...)
			if !strings.Contains(out+errs, c.want) {
				t.Errorf("got %s%s, want %q", out, errs, c.want)
			}
		})
	}
}
