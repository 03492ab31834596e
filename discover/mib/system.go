package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// SNMPv2-MIB (RFC 3418).
var (
	sysDescr    = snmp.MustOID("1.3.6.1.2.1.1.1")
	sysObjectID = snmp.MustOID("1.3.6.1.2.1.1.2")
	sysUpTime   = snmp.MustOID("1.3.6.1.2.1.1.3")
	sysName     = snmp.MustOID("1.3.6.1.2.1.1.5")
	sysLocation = snmp.MustOID("1.3.6.1.2.1.1.6")
	sysServices = snmp.MustOID("1.3.6.1.2.1.1.7")
)

// ipForwarding is a scalar of IP-MIB (RFC 4293): forwarding(1), notForwarding(2).
var ipForwarding = snmp.MustOID("1.3.6.1.2.1.4.1")

// systemGroup are the instances to get first: sysUpTime is the time base of all
// time stamps that follow.
func systemGroup() []snmp.OID {
	return instances(sysUpTime, sysDescr, sysObjectID, sysName, sysLocation, sysServices, ipForwarding)
}

// instances are the single instances of scalar objects.
func instances(objects ...snmp.OID) []snmp.OID {
	out := make([]snmp.OID, len(objects))
	for i, o := range objects {
		out[i] = o.Append(0)
	}
	return out
}

func decodeSystem(r rows, s *inventory.System) {
	s.Descr = description(r.scalar(sysDescr))
	if o, ok := r.scalar(sysObjectID).OID(); ok && len(o) > 2 { // 0.0 identifies nothing
		s.ObjectID = o.String()
	}
	s.Name = description(r.scalar(sysName))
	s.Location = description(r.scalar(sysLocation))
	s.Services, _ = whole(r.scalar(sysServices), 0, 127)
	s.Forwards = choice(r.scalar(ipForwarding), 1, 2)
	s.UpTime = ticks(r.scalar(sysUpTime))
}
