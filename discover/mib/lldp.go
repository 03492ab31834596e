package mib

import (
	"encoding/hex"
	"net/netip"
	"strings"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// lldpArc is LLDP-MIB (IEEE 802.1AB-2005) or LLDP-V2-MIB (802.1AB-2009 and on).
// The second counts local ports by ifIndex, has one number more in the index of a
// neighbour, and so its columns stand one further.
type lldpArc struct {
	v2       bool
	root     snmp.OID
	powerLoc []snmp.OID // lldpXdot3LocPower rows, and their like
	powerRem []snmp.OID
}

var (
	lldp1 = lldpArc{
		root:     snmp.MustOID("1.0.8802.1.1.2.1"),
		powerLoc: []snmp.OID{snmp.MustOID("1.0.8802.1.1.2.1.5.4623.1.2.2.1")}, // lldpXdot3LocPowerEntry
		powerRem: []snmp.OID{snmp.MustOID("1.0.8802.1.1.2.1.5.4623.1.3.2.1")}, // lldpXdot3RemPowerEntry
	}
	lldp2 = lldpArc{
		v2:   true,
		root: snmp.MustOID("1.3.111.2.802.1.1.13.1"),
		powerLoc: []snmp.OID{
			snmp.MustOID("1.3.111.2.802.1.1.13.1.5.4623.1.2.2.1"), // LLDP-EXT-DOT3-V2-MIB
			snmp.MustOID("1.3.111.2.802.3.1.5.1.2.2.1"),           // IEEE8023-DOT3-LLDP-EXT-V2-MIB
		},
		powerRem: []snmp.OID{
			snmp.MustOID("1.3.111.2.802.1.1.13.1.5.4623.1.3.2.1"),
			snmp.MustOID("1.3.111.2.802.3.1.5.1.3.2.1"),
		},
	}
	// lldpXMedLocXPoEPSEPortPowerAv (ANSI/TIA-1057) has a row for each power source.
	lldpXMedLocXPoEPSEPortPowerAv = snmp.MustOID("1.0.8802.1.1.2.1.5.4795.1.2.11.1.1")
)

func (a lldpArc) locChassis() snmp.OID { return a.root.Append(3) }          // lldpLocalSystemData
func (a lldpArc) locPort() snmp.OID    { return a.root.Append(3, 7, 1) }    // lldpLocPortEntry
func (a lldpArc) remote() snmp.OID     { return a.root.Append(4, 1, 1) }    // lldpRemEntry
func (a lldpArc) remAddress() snmp.OID { return a.root.Append(4, 2, 1, 3) } // lldpRemManAddrIfSubtype
func (a lldpArc) locPortID() snmp.OID  { return a.locPort().Append(3) }     // lldpLocPortId
func (a lldpArc) remChassis() snmp.OID { return a.remoteColumn(5) }         // lldpRemChassisId
func (a lldpArc) remPVID() snmp.OID { // lldpXdot1RemPortVlanId
	return a.root.Append(5, 32962, 1, 3, 1, 1, 1)
}

// remoteColumn takes the column numbers of lldpRemEntry.
func (a lldpArc) remoteColumn(n uint32) snmp.OID {
	if a.v2 {
		n++
	}
	return a.remote().Append(n)
}

type localPortRow struct {
	inventory.LLDPLocalPort
	id        []byte
	role      int
	supported *bool
}

func (a lldpArc) localPortFields() []field[localPortRow] {
	fields := []field[localPortRow]{
		{a.locPort().Append(2), func(p *localPortRow, v snmp.Value) { p.Subtype = code(v) }}, // lldpLocPortIdSubtype
		{a.locPortID(), func(p *localPortRow, v snmp.Value) { p.id, _ = v.Bytes() }},
		{a.locPort().Append(4), func(p *localPortRow, v snmp.Value) { p.Descr = text(v) }}, // lldpLocPortDesc
	}
	return append(fields, a.sourceFields()...)
}

// sourceFields say which local ports are power sources.
func (a lldpArc) sourceFields() []field[localPortRow] {
	var fields []field[localPortRow]
	for _, entry := range a.powerLoc {
		fields = append(fields,
			field[localPortRow]{entry.Append(1), func(p *localPortRow, v snmp.Value) { p.role = code(v) }},       // …LocPowerPortClass
			field[localPortRow]{entry.Append(2), func(p *localPortRow, v snmp.Value) { p.supported = truth(v) }}, // …LocPowerMDISupported
		)
	}
	if !a.v2 {
		fields = append(fields, field[localPortRow]{lldpXMedLocXPoEPSEPortPowerAv, func(p *localPortRow, _ snmp.Value) { p.PSE = true }})
	}
	return fields
}

func (a lldpArc) localPorts(r rows) []inventory.LLDPLocalPort {
	var out []inventory.LLDPLocalPort
	for _, l := range gather(r, oneIndex, a.localPortFields()) {
		p := l.row.LLDPLocalPort
		p.Num = inventory.LLDPPort(l.key)
		if a.v2 {
			p.Index = inventory.IfIndex(l.key)
		}
		const source = 1 // pClassPSE
		p.PSE = p.PSE || l.row.role == source && (l.row.supported == nil || *l.row.supported)
		p.ID, p.MAC = identifier(l.row.id, p.Subtype == portMAC, p.Subtype == portNetwork)
		out = append(out, p)
	}
	return out
}

// decodeLLDPLocal reads what the agent says of itself in either arc. Ports come
// from the older one if it has any, the newer adding their interfaces.
func decodeLLDPLocal(r rows) inventory.LLDPLocal {
	var l inventory.LLDPLocal
	for _, arc := range []lldpArc{lldp1, lldp2} {
		sub := code(r.scalar(arc.locChassis().Append(1))) // lldpLocChassisIdSubtype
		if sub == 0 {
			continue
		}
		id, _ := r.scalar(arc.locChassis().Append(2)).Bytes() // lldpLocChassisId
		l.ChassisSubtype = sub
		l.Chassis, l.ChassisMAC = identifier(id, sub == chassisMAC, sub == chassisNetwork)
		l.SysName = text(r.scalar(arc.locChassis().Append(3))) // lldpLocSysName
		break
	}
	l.Ports = lldp1.localPorts(r)
	newer := lldp2.localPorts(r)
	if len(l.Ports) == 0 {
		l.Ports = newer
		return l
	}
	type id struct {
		subtype int
		text    string
	}
	same := map[id][]inventory.LLDPLocalPort{}
	for _, p := range newer {
		same[id{p.Subtype, p.ID}] = append(same[id{p.Subtype, p.ID}], p)
	}
	for i := range l.Ports {
		p := &l.Ports[i]
		if s := same[id{p.Subtype, p.ID}]; len(s) == 1 && p.ID != "" {
			p.Index, p.PSE = s[0].Index, p.PSE || s[0].PSE
		}
	}
	return l
}

// Subtypes whose identifier is not text. They are numbered apart for chassis and port.
const (
	chassisMAC     = 4
	chassisNetwork = 5
	portMAC        = 3
	portNetwork    = 4
)

// identifier puts a chassis or port ID into text: a MAC, a network address behind
// its octet of family, or words. Octets that are no words are shown in hexadecimal.
func identifier(b []byte, isMAC, isNetwork bool) (string, inventory.MAC) {
	if m := macOf(b); isMAC && m.IsValid() {
		return m.String(), m
	}
	if isNetwork && len(b) > 1 {
		if a, ok := netip.AddrFromSlice(b[1:]); ok && (b[0] == 1) == a.Is4() && b[0] <= 2 {
			return a.String(), inventory.MAC{}
		}
	}
	words := inventory.CleanTo(string(b[:min(len(b), 4*maxDescr)]), maxDescr)
	if strings.ContainsRune(words, '\uFFFD') || words == "" && len(b) > 0 {
		return hex.EncodeToString(b[:min(len(b), inventory.MaxText/2)]), inventory.MAC{}
	}
	return words, inventory.MAC{}
}

// capabilities names what is enabled in LldpSystemCapabilitiesMap. An agent that
// copies the field of the frame has its bits the other way round and shows a
// first octet of zero: those bits have no names here, and none is guessed.
func capabilities(v snmp.Value) []string {
	names := [...]string{"", "repeater", "bridge", "wlanAccessPoint", "router", "telephone", "docsis", "stationOnly"}
	b, _ := v.Bytes()
	var out []string
	for n, name := range names {
		if name != "" && bit(b, n) {
			out = append(out, name)
		}
	}
	return out
}
