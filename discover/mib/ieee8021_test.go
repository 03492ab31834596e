package mib_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// The older columns, the newer ones and where in the index the component comes.
var newer = []struct {
	old, column string
	component   int
}{
	{"1.3.6.1.2.1.17.1.1", "1.3.111.2.802.1.1.2.1.1.1.1.2", -1}, // it takes the place of the scalar's zero
	{"1.3.6.1.2.1.17.1.4.1.2", "1.3.111.2.802.1.1.2.1.1.4.1.3", 0},
	{"1.3.6.1.2.1.17.7.1.2.2.1.2", "1.3.111.2.802.1.1.4.1.2.2.1.2", 0},
	{"1.3.6.1.2.1.17.7.1.2.2.1.3", "1.3.111.2.802.1.1.4.1.2.2.1.3", 0},
	{"1.3.6.1.2.1.17.7.1.4.2.1.3", "1.3.111.2.802.1.1.4.1.4.2.1.4", 1},
	{"1.3.6.1.2.1.17.7.1.4.2.1.4", "1.3.111.2.802.1.1.4.1.4.2.1.5", 1},
	{"1.3.6.1.2.1.17.7.1.4.2.1.5", "1.3.111.2.802.1.1.4.1.4.2.1.6", 1},
	{"1.3.6.1.2.1.17.7.1.4.3.1.1", "1.3.111.2.802.1.1.4.1.4.3.1.3", 0},
	{"1.3.6.1.2.1.17.7.1.4.5.1.1", "1.3.111.2.802.1.1.4.1.4.5.1.1", 0},
}

// renewed are rows with those of the older bridge modules in the newer ones, under a
// component; what the newer ones do not have is left out.
func renewed(component string, rows []simnet.Row) []simnet.Row {
	var out []simnet.Row
	for _, r := range rows {
		if !strings.HasPrefix(r.OID, "1.3.6.1.2.1.17.") {
			out = append(out, r)
			continue
		}
		for _, n := range newer {
			index, ok := strings.CutPrefix(r.OID, n.old+".")
			if !ok {
				continue
			}
			part := strings.Split(index, ".")
			if n.component < 0 {
				part = []string{component}
			} else {
				part = slices.Insert(part, n.component, component)
			}
			out = append(out, simnet.Row{OID: n.column + "." + strings.Join(part, "."), Value: r.Value})
		}
	}
	return out
}

// A switch that offers the bridge modules of IEEE 802.1Q alone tells the same as one with
// those of the IETF.
func TestIEEE8021Alone(t *testing.T) {
	want := site(t)
	want.STP = nil // the newer modules have no table of it that is read
	want.FDB = slices.DeleteFunc(want.FDB, func(e inventory.FDBEntry) bool { return e.VLAN+e.Filter == 0 })
	rows := renewed("1", mibrows.Agent(want))
	a := agent(t, rows...)
	c := dial(t, a, snmp.Options{})
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	checkCoverage(t, got)
	for _, x := range []struct {
		what      string
		got, want any
	}{
		{"bridge", got.Agent.Bridge, want.Bridge}, {"address", got.Agent.BridgeMAC, want.BridgeMAC}, {"forwarding table", got.Agent.FDB, want.FDB},
		{"VLANs", got.Agent.VLANs, want.VLANs}, {"native VLANs", got.Agent.PVID, want.PVID},
	} {
		if !reflect.DeepEqual(x.got, x.want) {
			t.Errorf("%s: %+v, want %+v", x.what, x.got, x.want)
		}
	}
	for _, table := range []string{inventory.TableBridge, inventory.TableFDB, inventory.TableVLAN} {
		equal(t, table, got.Agent.Tables[table], inventory.Complete)
	}
	must(t, a.Set(renewed("1", mibrows.Agent(inventory.Agent{FDB: []inventory.FDBEntry{{MAC: cam(0x77), Port: 101, VLAN: 30}}}))...))
	mib.Relearn(t.Context(), c, &got)
	equal(t, "learned since", fmt.Sprint(fdbOf(got.Agent, cam(0x77))), fmt.Sprint([]inventory.FDBEntry{{MAC: cam(0x77), Port: 101, VLAN: 30}}))
}

// Where both are offered the older ones are taken; a second component has ports of its own, and
// is said to be left out.
func TestIEEE8021Beside(t *testing.T) {
	one := mibrows.Agent(site(t))
	other := inventory.Agent{BridgeMAC: cam(0x99), Bridge: map[inventory.BridgePort]inventory.IfIndex{101: 49}, PVID: map[inventory.BridgePort]int{101: 99},
		FDB: []inventory.FDBEntry{{MAC: cam(0x99), Port: 101, VLAN: 20}}}
	got := collect(t, append(renewed("1", mibrows.Agent(other)), one...)...).Agent
	if len(fdbOf(got, cam(0x99))) > 0 || got.BridgeMAC == cam(0x99) || got.Bridge[101] != 1 || got.PVID[101] != 20 {
		t.Errorf("the newer modules were taken: %v %v %v %v", got.BridgeMAC, got.Bridge, got.PVID, got.FDB)
	}
	got = collect(t, append(renewed("2", mibrows.Agent(other)), renewed("1", one)...)...).Agent
	if len(fdbOf(got, cam(0x99))) > 0 || got.Bridge[101] != 1 {
		t.Errorf("two components were mixed: %v %v", got.Bridge, got.FDB)
	}
	equal(t, "two components", got.Tables[inventory.TableFDB], inventory.Partial)
}
