package mib

import (
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// BRIDGE-MIB (RFC 4188) and the forwarding table of Q-BRIDGE-MIB (RFC 4363).
var (
	dot1dBaseBridgeAddress = snmp.MustOID("1.3.6.1.2.1.17.1.1")
	dot1dBasePortIfIndex   = snmp.MustOID("1.3.6.1.2.1.17.1.4.1.2")
	dot1dTpFdbPort         = snmp.MustOID("1.3.6.1.2.1.17.4.3.1.2")
	dot1dTpFdbStatus       = snmp.MustOID("1.3.6.1.2.1.17.4.3.1.3")
	dot1qTpFdbPort         = snmp.MustOID("1.3.6.1.2.1.17.7.1.2.2.1.2")
	dot1qTpFdbStatus       = snmp.MustOID("1.3.6.1.2.1.17.7.1.2.2.1.3")
)

// Status of a row of either forwarding table.
const (
	fdbInvalid = 2 // aged out and not yet removed
	fdbSelf    = 4
	fdbMgmt    = 5
)

func decodeBridge(r rows, ag *inventory.Agent) {
	ag.BridgeMAC = mac(r.scalar(dot1dBaseBridgeAddress))
	ag.Bridge = numbered(r, dot1dBasePortIfIndex, func(port, index int) (inventory.BridgePort, inventory.IfIndex) {
		return inventory.BridgePort(port), inventory.IfIndex(index)
	})
}

// numbered is a column of numbers above zero, indexed by one number; nil if it
// has none.
func numbered[K comparable, V any](r rows, column snmp.OID, of func(index, value int) (K, V)) map[K]V {
	var out map[K]V
	for index, v := range r.column(column) {
		i, ok := oneIndex(index)
		n := code(v)
		if !ok || n == 0 {
			continue
		}
		if out == nil {
			out = map[K]V{}
		}
		k, value := of(i, n)
		out[k] = value
	}
	return out
}

// fdbKey is a filtering database (0: the table has none) and an address.
type fdbKey struct {
	filter int
	mac    inventory.MAC
}

type fdbRow struct {
	port   int
	known  bool
	status int
}

func fdbFields(port, status snmp.OID) []field[fdbRow] {
	return []field[fdbRow]{
		{port, func(f *fdbRow, v snmp.Value) { f.port, f.known = whole(v, 0, maxPorts) }},
		{status, func(f *fdbRow, v snmp.Value) { f.status = code(v) }},
	}
}

// decodeFDB reads dot1qTpFdbTable, and from dot1dTpFdbTable what is not in the
// first. Rows that aged out are left out; port 0 stays, as unknown.
func decodeFDB(r rows) []inventory.FDBEntry {
	vlans := filterVLANs(r)
	var out []inventory.FDBEntry
	ports := map[inventory.MAC][]inventory.BridgePort{}
	add := func(k fdbKey, f fdbRow) {
		e := inventory.FDBEntry{
			MAC: k.mac, Port: inventory.BridgePort(f.port), Self: f.status == fdbSelf, Static: f.status == fdbMgmt,
		}
		if k.filter != 0 {
			if e.VLAN = vlans[k.filter]; e.VLAN == 0 {
				e.Filter = k.filter
			}
		}
		out = append(out, e)
		ports[e.MAC] = append(ports[e.MAC], e.Port)
	}
	for _, l := range gather(r, filterMAC, fdbFields(dot1qTpFdbPort, dot1qTpFdbStatus)) {
		if l.row.status != fdbInvalid {
			add(l.key, l.row)
		}
	}
	for _, l := range gather(r, onlyMAC, fdbFields(dot1dTpFdbPort, dot1dTpFdbStatus)) {
		had, ok := ports[l.key.mac]
		if l.row.status == fdbInvalid || ok && (l.row.port == 0 || slices.Contains(had, inventory.BridgePort(l.row.port))) {
			continue
		}
		add(l.key, l.row)
	}
	return out
}

func filterMAC(index snmp.OID) (fdbKey, bool) {
	if len(index) != 7 {
		return fdbKey{}, false
	}
	m, ok := macIndex(index[1:])
	return fdbKey{int(index[0]), m}, ok && m.IsValid()
}

func onlyMAC(index snmp.OID) (fdbKey, bool) {
	m, ok := macIndex(index)
	return fdbKey{0, m}, ok && m.IsValid()
}
