// Package mibrows writes what an agent is to know, as the inventory has it, in
// rows of the MIBs: the other direction of reading a device. A simulated site is
// described in the inventory's own types and served by simnet.
package mibrows

import (
	"math"
	"net/netip"
	"strconv"

	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// Agent gives the rows of all tables that a has something for, in no order that
// matters. What a does not say (nil, zero, empty) gets no row, except that an
// interface, a port or an entity has the columns that each agent has. A number
// beyond a type's range becomes the nearest within it, but counters wrap.
//
// Target, Tables, Engine, Objects and Stats say how a device was read and are
// not used. UPS alarms are taken by the names that UPS-MIB gives them, such as
// upsAlarmOnBattery.
func Agent(a inventory.Agent) []simnet.Row {
	var t table
	t.system(a.System)
	t.interfaces(a.Interfaces)
	t.addresses(a.Addresses)
	t.bridge(a)
	t.vlans(a.VLANs)
	t.lldpLocal(a.LLDP)
	t.lldpNeighbors(a.Neighbors)
	t.psePorts(a.PSEPorts)
	t.supplies(a.Supplies)
	t.entities(a.Entities)
	t.sensors(a.Sensors)
	t.energy(a.Energy)
	t.storage(a.Storage)
	t.date(a.Date)
	t.ups(a.UPS)
	t.radio(a.Radio)
	for member, aggregate := range a.LAG {
		t.integer(dot3adAggPortAttachedAggID, int(aggregate), uint32(member))
	}
	if a.Printer {
		t.text(prtGeneralPrinterName, "printer", 1)
	}
	return t
}

// table collects rows.
type table []simnet.Row

func (t *table) put(column string, v simnet.Value, index ...uint32) {
	*t = append(*t, simnet.Row{OID: instance(column, index...), Value: v})
}

// instance is the name of a row of a column.
func instance(column string, index ...uint32) string {
	b := []byte(column)
	for _, n := range index {
		b = append(b, '.')
		b = strconv.AppendUint(b, uint64(n), 10)
	}
	return string(b)
}

func (t *table) text(column, s string, index ...uint32) {
	t.put(column, simnet.Text(s), index...)
}

// words is text, if there is any.
func (t *table) words(column, s string, index ...uint32) {
	if s != "" {
		t.text(column, s, index...)
	}
}

func (t *table) integer(column string, n int, index ...uint32) {
	t.put(column, simnet.Integer(int32(min(max(n, math.MinInt32), math.MaxInt32))), index...)
}

func (t *table) gauge(column string, n int64, index ...uint32) {
	t.put(column, simnet.Gauge32(uint32(min(max(n, 0), math.MaxUint32))), index...)
}

// truth is a TruthValue (RFC 2579), if b says anything.
func (t *table) truth(column string, b *bool, index ...uint32) {
	t.choice(column, b, 1, 2, index...)
}

// choice is one of two numbers, if b says which.
func (t *table) choice(column string, b *bool, yes, no int, index ...uint32) {
	switch {
	case b == nil:
	case *b:
		t.integer(column, yes, index...)
	default:
		t.integer(column, no, index...)
	}
}

func (t *table) ticks(column string, n *uint32, index ...uint32) {
	if n != nil {
		t.put(column, simnet.TimeTicks(*n), index...)
	}
}

// count is the low half of n, as a Counter32 shows it.
func (t *table) count(column string, n *uint64, index ...uint32) {
	if n != nil {
		t.put(column, simnet.Counter32(uint32(*n)), index...)
	}
}

func (t *table) count32(column string, n *uint32, index ...uint32) {
	if n != nil {
		t.put(column, simnet.Counter32(*n), index...)
	}
}

func (t *table) mac(column string, m inventory.MAC, index ...uint32) {
	t.put(column, simnet.Octets(macOctets(m)), index...)
}

// macOctets is a PhysAddress: no octets for no address.
func macOctets(m inventory.MAC) []byte {
	if !m.IsValid() {
		return nil
	}
	return m[:]
}

func numbers(octets []byte) []uint32 {
	out := make([]uint32, 0, len(octets))
	for _, b := range octets {
		out = append(out, uint32(b))
	}
	return out
}

// inetIndex is an InetAddressType and InetAddress in an index: a family, a
// length, the octets (RFC 4001; RFC 2578, 7.7). An address family of LLDP has the same
// two numbers.
func inetIndex(a netip.Addr) []uint32 {
	family := uint32(1)
	if a.Is6() {
		family = 2
	}
	octets := a.AsSlice()
	return append([]uint32{family, uint32(len(octets))}, numbers(octets)...)
}

func (t *table) system(s inventory.System) {
	if s == (inventory.System{}) {
		return
	}
	t.text(sysDescr, s.Descr, 0)
	if s.ObjectID != "" {
		t.put(sysObjectID, simnet.OID(s.ObjectID), 0)
	}
	if s.UpTime != nil {
		t.put(sysUpTime, simnet.Rising(simnet.TimeTicks(*s.UpTime), 100), 0)
	}
	t.text(sysName, s.Name, 0)
	t.text(sysLocation, s.Location, 0)
	t.integer(sysServices, s.Services, 0)
	t.choice(ipForwarding, s.Forwards, 1, 2, 0)
	if s.HostUp != nil {
		t.put(hrSystemUptime, simnet.Rising(simnet.TimeTicks(*s.HostUp), 100), 0)
	}
}

func (t *table) addresses(list []inventory.AgentAddress) {
	origins := map[string]int{"manual": 2, "dhcp": 4, "linklayer": 5, "random": 6}
	states := map[string]int{"preferred": 1, "deprecated": 2, "invalid": 3, "inaccessible": 4, "tentative": 6, "duplicate": 7, "optimistic": 8}
	for _, a := range list {
		index := inetIndex(a.Addr)
		t.integer(ipAddressIfIndex, int(a.Index), index...)
		t.integer(ipAddressType, 1, index...) // unicast(1)
		pointer := "0.0"
		if p, err := a.Addr.Prefix(a.Prefix); err == nil && a.Prefix > 0 {
			// A row of ipAddressPrefixTable by its first column, ipAddressPrefixOrigin
			// (that OID from memory); only the last number is read.
			pointer = instance("1.3.6.1.2.1.4.32.1.5."+strconv.Itoa(int(a.Index)), append(inetIndex(p.Addr()), uint32(a.Prefix))...)
		}
		t.put(ipAddressPrefix, simnet.OID(pointer), index...)
		if n := origins[a.Origin]; n != 0 {
			t.integer(ipAddressOrigin, n, index...)
		}
		if n := states[a.State]; n != 0 {
			t.integer(ipAddressStatus, n, index...)
		}
		if !a.Addr.Is4() {
			continue
		}
		octets := a.Addr.As4()
		t.put(ipAdEntAddr, simnet.IPAddress(octets), numbers(octets[:])...)
		t.integer(ipAdEntIfIndex, int(a.Index), numbers(octets[:])...)
		if a.Prefix > 0 {
			mask := ^uint32(0) << (32 - min(a.Prefix, 32))
			t.put(ipAdEntNetMask, simnet.IPAddress([4]byte{byte(mask >> 24), byte(mask >> 16), byte(mask >> 8), byte(mask)}), numbers(octets[:])...)
		}
	}
}

// Neighbors gives the rows of an agent's two neighbour tables of IP-MIB: for
// each sighting with an address, its Port as the interface. IPv4 stands in both.
func Neighbors(list ...inventory.Sighting) []simnet.Row {
	var t table
	for _, s := range list {
		if !s.Addr.IsValid() {
			continue
		}
		port := uint32(s.Port)
		index := append([]uint32{port}, inetIndex(s.Addr)...)
		t.mac(ipNetToPhysicalPhysAddress, s.MAC, index...)
		t.integer(ipNetToPhysicalType, 3, index...) // dynamic(3)
		state := 6                                  // unknown(6), always so for IPv4
		if s.Addr.Is6() {
			state = 1 // reachable(1)
		}
		t.integer(ipNetToPhysicalState, state, index...)
		if !s.Addr.Is4() {
			continue
		}
		octets := s.Addr.As4()
		old := append([]uint32{port}, numbers(octets[:])...)
		t.integer(ipNetToMediaIfIndex, s.Port, old...)
		t.mac(ipNetToMediaPhysAddress, s.MAC, old...)
		t.put(ipNetToMediaNetAddress, simnet.IPAddress(octets), old...)
		t.integer(ipNetToMediaType, 3, old...) // dynamic(3)
	}
	return t
}
