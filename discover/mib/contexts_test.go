package mib_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"

	"github.com/gosnmp/gosnmp"
)

// rack is a switch with three ports that shows the bridge of VLAN 1 in its default
// context and lists a context for each of vlans, under such names.
func rack(name func(vlan int) string, vlans ...int) []simnet.Row {
	rows := mibrows.Agent(bridgeOf(map[inventory.BridgePort]inventory.IfIndex{1: 10101}, inventory.FDBEntry{MAC: cam(1), Port: 1}))
	for k, v := range vlans {
		const entry = "1.3.6.1.2.1.47.1.2.1.1"
		index := fmt.Sprint(k + 1)
		rows = append(rows, words(entry+".2."+index, fmt.Sprint("vlan", v)),
			simnet.Row{OID: entry + ".3." + index, Value: simnet.OID("1.3.6.1.2.1.17")},
			words(entry+".4."+index, fmt.Sprint("root@", v)), words(entry+".8."+index, name(v)))
	}
	return rows
}

func cam(n byte) inventory.MAC { return inventory.MAC{0, 0, 0x5e, 0, 0x53, n} }

// bridgeOf is a bridge with the interfaces gi1 to gi3, ifIndex 10101 to 10103.
func bridgeOf(ports map[inventory.BridgePort]inventory.IfIndex, fdb ...inventory.FDBEntry) inventory.Agent {
	a := inventory.Agent{BridgeMAC: cam(0xff), Bridge: ports, FDB: fdb}
	for k := 1; k <= 3; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(10100 + k), Name: fmt.Sprint("gi", k), Type: 6})
	}
	return a
}

func inContext(vlan int, a inventory.Agent) simnet.Context {
	return simnet.Context{Name: fmt.Sprint("vlan-", vlan), Index: fmt.Sprint(vlan), Rows: mibrows.Agent(a)}
}

// The two bridges of the rack: in VLAN 20 port 2 has other numbers than in VLAN 10, and
// the camera 1 is seen in VLAN 1 too.
func rackContexts() []simnet.Context {
	type ports = map[inventory.BridgePort]inventory.IfIndex
	return []simnet.Context{
		inContext(10, bridgeOf(ports{1: 10101, 2: 10102}, inventory.FDBEntry{MAC: cam(1), Port: 1}, inventory.FDBEntry{MAC: cam(2), Port: 2})),
		inContext(20, bridgeOf(ports{2: 10103, 3: 10101}, inventory.FDBEntry{MAC: cam(3), Port: 2}, inventory.FDBEntry{MAC: cam(4), Port: 3}, inventory.FDBEntry{MAC: cam(5)})),
	}
}

func dashed(vlan int) string { return fmt.Sprint("vlan-", vlan) }

// fdbText is a forwarding table in words: MAC, interface and VLAN.
func fdbText(ag inventory.Agent) string {
	var out []string
	for _, e := range ag.FDB {
		out = append(out, fmt.Sprintf("%d@%d/%d", e.MAC[5], ag.Bridge[e.Port], e.VLAN))
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

// reading collects from an agent with contexts, by community or by the user audit.
func reading(t *testing.T, version string, opts simnet.AgentOptions, req mib.Request) (*simnet.Agent, *snmp.Client, mib.Reading) {
	t.Helper()
	cred := snmp.Credentials{Version: version, Community: "quay"}
	opts.Communities = []string{"quay"}
	if version == "3" {
		opts.Users = []simnet.User{{Name: "audit", Auth: gosnmp.SHA256, AuthPass: "rising tide", Priv: gosnmp.AES, PrivPass: "neap tide"}}
		cred = snmp.Credentials{Version: "3", User: "audit", Auth: "sha256", AuthSecret: "rising tide", Privacy: "aes", PrivacySecret: "neap tide"}
	}
	a, err := simnet.NewAgent(opts)
	must(t, err)
	c := dialAs(t, a, cred, snmp.Options{Retries: -1})
	req.Device = "rack"
	got := mib.Collect(t.Context(), c, req)
	must(t, got.Err)
	checkCoverage(t, got)
	return a, c, got
}

// covered is how the forwarding tables ended, and why.
func covered(got mib.Reading) string {
	var out []string
	for _, c := range got.Coverage {
		if short, ok := strings.CutPrefix(c.Table, inventory.TableFDB); ok {
			out = append(out, strings.TrimSpace(strings.TrimPrefix(short, " of VLAN")+" "+string(c.Result)+" "+c.Why))
		}
	}
	return strings.Join(out, "; ")
}

func TestContexts(t *testing.T) {
	many := make([]int, 40)
	for i := range many {
		many[i] = 100 + i
	}
	def := bridgeOf(map[inventory.BridgePort]inventory.IfIndex{1: 10101}, inventory.FDBEntry{MAC: cam(1), Port: 1})
	other := bridgeOf(map[inventory.BridgePort]inventory.IfIndex{7: 10101}, inventory.FDBEntry{MAC: cam(2), Port: 7})
	other.Interfaces[0].Name = "gi3"
	const both = "1@10101/10 2@10102/10 3@10103/20 4@10101/20 5@0/20"
	for _, c := range []struct {
		name  string
		opts  simnet.AgentOptions
		req   mib.Request
		table string
		cover string // by versions 1 and 2c
		v3    string // by version 3, where it differs
	}{
		{"listed", simnet.AgentOptions{Rows: rack(dashed, 10, 20), Contexts: rackContexts()}, mib.Request{}, both, "complete; 10 complete; 20 complete", ""},
		{"listed by description", simnet.AgentOptions{Rows: rack(func(int) string { return "" }, 10, 20), Contexts: rackContexts()}, mib.Request{}, both, "complete; 10 complete; 20 complete", ""},
		{"listed, one is silent", simnet.AgentOptions{Rows: rack(dashed, 10, 11, 20), Contexts: rackContexts()}, mib.Request{VLANs: []int{20}}, both,
			"partial it keeps one for each VLAN, and that of VLAN 11: no response; 20 complete; 10 complete; 11 no-answer no response",
			"partial it keeps one for each VLAN, and that of VLAN 11: context not known there; 20 complete; 10 complete; 11 refused context not known there"},
		{"listed, none answers", simnet.AgentOptions{Rows: rack(dashed, 10, 11, 12)}, mib.Request{}, "1@10101/0",
			"partial it keeps one for each VLAN, and of 3 no context answers: let this machine read them, or say contexts: one in the plan's access; 10 no-answer no response; 11 no-answer no response",
			"partial it keeps one for each VLAN, and of 3 no context answers: let this machine read them, or say contexts: one in the plan's access; 10 refused context not known there; 11 refused context not known there"},
		{"not listed, and the plan does not ask", simnet.AgentOptions{Rows: rack(dashed), Contexts: rackContexts()}, mib.Request{VLANs: []int{10, 20}}, "1@10101/0", "complete", ""},
		{"not listed, and the plan asks", simnet.AgentOptions{Rows: rack(dashed), Contexts: rackContexts()},
			mib.Request{Contexts: inventory.ContextsPerVLAN, VLANs: []int{5, 6, 7, 10, 20, 5000}}, both,
			"complete; 5 not-offered no response; 6 not-offered no response; 7 not-offered no response; 10 complete; 20 complete",
			"complete; 5 not-offered context not known there; 6 not-offered context not known there; 7 not-offered context not known there; 10 complete; 20 complete"},
		{"the plan wants one", simnet.AgentOptions{Rows: rack(dashed, 10, 20), Contexts: rackContexts()}, mib.Request{Contexts: inventory.ContextsOne}, "1@10101/0", "complete", ""},
		{"the same table everywhere", simnet.AgentOptions{Rows: rack(dashed, 10), Contexts: []simnet.Context{inContext(10, def)}}, mib.Request{}, "1@10101/0",
			"complete; 10 not-offered the same table in every context", ""},
		{"other interface numbers", simnet.AgentOptions{Rows: rack(dashed, 10), Contexts: []simnet.Context{inContext(10, other)}}, mib.Request{}, "1@10101/0 2@10103/10", "complete; 10 complete", ""},
		{"all VLANs together", simnet.AgentOptions{Rows: append(rack(dashed, 10), mibrows.Agent(inventory.Agent{FDB: []inventory.FDBEntry{{MAC: cam(9), Port: 1, VLAN: 9}}})...), Contexts: rackContexts()},
			mib.Request{Contexts: inventory.ContextsPerVLAN}, "1@10101/0 9@10101/0", "complete", ""},
	} {
		for _, version := range []string{"1", "2c", "3"} {
			t.Run(c.name+" "+version, func(t *testing.T) {
				t.Parallel()
				_, _, got := reading(t, version, c.opts, c.req)
				equal(t, "table", fdbText(got.Agent), c.table)
				want := c.cover
				if version == "3" && c.v3 != "" {
					want = c.v3
				}
				equal(t, "coverage", covered(got), want)
			})
		}
	}
	t.Run("more than are read", func(t *testing.T) {
		t.Parallel()
		contexts := rackContexts()[:1]
		contexts[0].Name, contexts[0].Index = "vlan-139", "139"
		_, _, got := reading(t, "3", simnet.AgentOptions{Rows: rack(dashed, many...), Contexts: contexts}, mib.Request{VLANs: []int{139}})
		equal(t, "table", fdbText(got.Agent), "1@10101/139 2@10102/139")
		if s := covered(got); !strings.HasPrefix(s, "partial it keeps one for each VLAN, and 32 of 40 were read; 139 complete; 100 ") {
			t.Error(s)
		}
	})
}

// What is sent: to the agent alone, under its own community with a VLAN, and never for the
// column of communities, whose text is nowhere in the evidence.
func TestContextsKeepSecrets(t *testing.T) {
	a, _, got := reading(t, "2c", simnet.AgentOptions{Rows: rack(dashed, 10, 20), Contexts: rackContexts()}, mib.Request{})
	for community := range a.Counts().Communities {
		if !slices.Contains([]string{"quay", "quay@10", "quay@20"}, community) {
			t.Errorf("asked under %q", community)
		}
	}
	if s := fmt.Sprintf("%+v", got); strings.Contains(s, "root@") || strings.Contains(s, "quay@") {
		t.Error("a community is in the evidence")
	}
	equal(t, "requests", got.Agent.Stats.Requests, a.Counts().Received)
}

// Once more after a sweep: a row that is new in the default context joins those of the
// others; where a context falls silent all stays as it was.
func TestContextsRelearn(t *testing.T) {
	a, c, got := reading(t, "2c", simnet.AgentOptions{Rows: rack(dashed, 10, 20), Contexts: rackContexts()}, mib.Request{})
	before := fdbText(got.Agent)
	must(t, a.Set(mibrows.Agent(inventory.Agent{FDB: []inventory.FDBEntry{{MAC: cam(8), Port: 1}}})...))
	mib.Relearn(t.Context(), c, &got)
	equal(t, "table", fdbText(got.Agent), before+" 8@10101/0")
	equal(t, "coverage", covered(got), "complete; 10 complete; 20 complete")
	checkCoverage(t, got)

	must(t, a.Set(mibrows.Agent(inventory.Agent{FDB: []inventory.FDBEntry{{MAC: cam(7), Port: 1}}})...))
	must(t, a.SetFaults(simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		if strings.HasSuffix(p.Community, "@20") {
			p.Community = "quay@21" // nobody's answer
		}
	}}))
	mib.Relearn(t.Context(), c, &got)
	equal(t, "table", fdbText(got.Agent), before+" 8@10101/0")
	checkCoverage(t, got)
}

// A real switch lists a context for each of its 20 VLANs, by names and types as they are
// read here; what the contexts hold is made up, since the recording has the default one only.
func TestContextsOfTheRecording(t *testing.T) {
	opts := simnet.AgentOptions{Rows: simnettest.Recording(t, "cisco_16_switch")}
	var want []string
	for k, vlan := range []int{1, 4, 10, 35, 60, 63, 65, 70, 73, 74, 80, 200, 201, 250, 255, 998, 1002, 1003, 1004, 1005} {
		opts.Contexts = append(opts.Contexts, inContext(vlan, inventory.Agent{Bridge: map[inventory.BridgePort]inventory.IfIndex{118: 11008},
			FDB: []inventory.FDBEntry{{MAC: cam(byte(k)), Port: 118}}}))
		want = append(want, fmt.Sprintf("%d@11008/%d", k, vlan))
	}
	_, _, got := reading(t, "2c", opts, mib.Request{})
	equal(t, "result", got.Agent.Tables[inventory.TableFDB], inventory.Complete)
	text := strings.Split(fdbText(got.Agent), " ")
	for _, w := range want {
		if !slices.Contains(text, w) {
			t.Errorf("no row %s", w)
		}
	}
	equal(t, "rows", len(text), len(want)+1)
}
