package mibrows

import (
	"net/netip"

	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// Subtypes of LldpChassisIdSubtype and LldpPortIdSubtype, which number alike things apart.
const (
	chassisMAC     = 4
	chassisNetwork = 5
	portMAC        = 3
	portNetwork    = 4
)

func (t *table) lldpLocal(l inventory.LLDPLocal) {
	if l.ChassisSubtype > 0 {
		t.integer(lldpLocChassisIdSubtype, l.ChassisSubtype, 0)
		t.put(lldpLocChassisId, chassisID(l.ChassisSubtype, l.Chassis, l.ChassisMAC), 0)
		t.text(lldpLocSysName, l.SysName, 0)
	}
	for _, p := range l.Ports {
		n := uint32(p.Num)
		t.integer(lldpLocPortIdSubtype, p.Subtype, n)
		t.put(lldpLocPortId, portID(p.Subtype, p.ID, p.MAC), n)
		t.text(lldpLocPortDesc, p.Descr, n)
		if p.PSE {
			t.integer(lldpXdot3LocPowerPortClass, 1, n) // pClassPSE(1)
			t.integer(lldpXdot3LocPowerMDISupported, 1, n)
		}
	}
}

func chassisID(subtype int, text string, mac inventory.MAC) simnet.Value {
	return identifier(subtype == chassisMAC, subtype == chassisNetwork, text, mac)
}

func portID(subtype int, text string, mac inventory.MAC) simnet.Value {
	return identifier(subtype == portMAC, subtype == portNetwork, text, mac)
}

// identifier is the octets of an ID: a MAC as it is, a network address behind
// its family (LLDP-MIB, LldpChassisId), all else as text.
func identifier(isMAC, isNetwork bool, text string, mac inventory.MAC) simnet.Value {
	if isMAC {
		return simnet.Octets(macOctets(mac))
	}
	if a, err := netip.ParseAddr(text); isNetwork && err == nil {
		return simnet.Octets(append([]byte{byte(inetIndex(a)[0])}, a.AsSlice()...))
	}
	return simnet.Text(text)
}

// lldpNeighbors writes lldpRemTable and its extensions at time mark zero. The
// neighbours of a port are numbered in the order given.
func (t *table) lldpNeighbors(list []inventory.LLDPNeighbor) {
	seen := make(map[inventory.LLDPPort]uint32)
	for _, n := range list {
		seen[n.Local]++
		index := []uint32{0, uint32(n.Local), seen[n.Local]}
		t.integer(lldpRemChassisIdSubtype, n.ChassisSubtype, index...)
		t.put(lldpRemChassisId, chassisID(n.ChassisSubtype, n.Chassis, n.ChassisMAC), index...)
		t.integer(lldpRemPortIdSubtype, n.PortSubtype, index...)
		t.put(lldpRemPortId, portID(n.PortSubtype, n.PortID, n.PortMAC), index...)
		t.text(lldpRemPortDesc, n.PortDescr, index...)
		t.text(lldpRemSysName, n.SysName, index...)
		t.text(lldpRemSysDesc, n.SysDescr, index...)
		caps := capabilities(n.Capabilities)
		t.put(lldpRemSysCapSupported, simnet.Octets(caps), index...)
		t.put(lldpRemSysCapEnabled, simnet.Octets(caps), index...)
		for _, a := range n.Addresses {
			at := append(append([]uint32{}, index...), inetIndex(a)...)
			t.integer(lldpRemManAddrIfSubtype, 2, at...) // ifIndex(2)
			t.integer(lldpRemManAddrIfId, 1, at...)
		}
		if n.PVID > 0 {
			t.integer(lldpXdot1RemPortVlanId, n.PVID, index...)
		}
		t.lldpPower(n, index)
		t.med(n.MED, index)
	}
}

// capabilities is LldpSystemCapabilitiesMap, a BITS: the highest bit is the first.
func capabilities(names []string) []byte {
	bits := map[string]int{"other": 0, "repeater": 1, "bridge": 2, "wlanAccessPoint": 3, "router": 4, "telephone": 5, "docsis": 6, "stationOnly": 7}
	var b byte
	for _, n := range names {
		if bit, ok := bits[n]; ok {
			b |= 0x80 >> bit
		}
	}
	return []byte{b}
}

// lldpPower writes the power that was negotiated into the module that it came
// from. The dot3 module of 2005 has only role and class.
func (t *table) lldpPower(n inventory.LLDPNeighbor, index []uint32) {
	p := n.Power
	if p == nil {
		return
	}
	switch p.Source {
	case "dot3":
		t.choice(lldpXdot3RemPowerPortClass, &p.PD, 2, 1, index...) // pClassPD(2), pClassPSE(1)
		t.class(lldpXdot3RemPowerClass, p.Class, index...)
	case "dot3-v2":
		at := []uint32{0, uint32(n.LocalIndex), 1, index[2]} // by interface and destination address
		t.choice(lldpV2Xdot3RemPowerPortClass, &p.PD, 2, 1, at...)
		t.class(lldpV2Xdot3RemPowerClass, p.Class, at...)
		t.integer(lldpV2Xdot3RemPDRequestedPowerValue, tenths(p.Requested), at...)
		t.integer(lldpV2Xdot3RemPSEAllocatedPowerValue, tenths(p.Allocated), at...)
	case "med":
		t.choice(lldpXMedRemXPoEDeviceType, &p.PD, 3, 2, index...) // pdDevice(3), pseDevice(2)
		if p.PD {
			t.gauge(lldpXMedRemXPoEPDPowerReq, int64(tenths(p.Requested)), index...)
		} else {
			t.gauge(lldpXMedRemXPoEPSEPowerAv, int64(tenths(p.Allocated)), index...)
		}
	}
}

// tenths is a power in tenths of a watt, as LLDP has it.
func tenths(p inventory.Power) int { return int(p+50) / 100 }

// class counts from one (RFC 3621), and has no value above class 4.
func (t *table) class(column string, c inventory.Class, index ...uint32) {
	if n, ok := c.Number(); ok {
		t.integer(column, min(n, 4)+1, index...)
	}
}

func (t *table) med(m *inventory.MEDInventory, index []uint32) {
	if m == nil {
		return
	}
	t.words(lldpXMedRemMfgName, m.Maker, index...)
	t.words(lldpXMedRemModelName, m.Model, index...)
	t.words(lldpXMedRemSerialNum, m.Serial, index...)
	t.words(lldpXMedRemHardwareRev, m.Hardware, index...)
	t.words(lldpXMedRemFirmwareRev, m.Firmware, index...)
	t.words(lldpXMedRemSoftwareRev, m.Software, index...)
}
