package mib

import (
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// module is what to ask of one MIB module. Its keys are asked for first, of all
// modules at once, so that an agent without most of them is done in a few
// packets; rest is what their rows make worth asking for.
type module struct {
	table string // the inventory's name for it
	keys  []snmp.OID
	rest  func(have rows) []snmp.OID // by what all modules' keys brought; nil: nothing
}

// when is a list of columns that are worth asking for only where key has rows.
type when struct {
	key  snmp.OID
	then []snmp.OID
}

func rest(list ...when) func(rows) []snmp.OID {
	return func(have rows) []snmp.OID {
		var out []snmp.OID
		for _, w := range list {
			if len(have.below(w.key)) > 0 {
				out = append(out, w.then...)
			}
		}
		return out
	}
}

// without are the columns of fields beside those that are asked for as keys.
func without[R any](fields []field[R], keys ...snmp.OID) []snmp.OID {
	return slices.DeleteFunc(oids(fields), func(o snmp.OID) bool {
		return slices.ContainsFunc(keys, func(k snmp.OID) bool { return k.Compare(o) == 0 })
	})
}

// modules are all that a full run asks for beside the system group.
func modules() []module {
	ad, addr := ipAdEntIfIndex, ipAddressIfIndex
	return []module{
		{table: inventory.TableInterfaces, keys: oids(interfaceFields)},
		{table: inventory.TableEther, keys: oids(etherFields)},
		{table: inventory.TableIP, keys: []snmp.OID{ad, addr}, rest: rest(
			when{ad, without(ipAdFields, ad)}, when{addr, without(ipAddressFields, addr)})},
		neighborModule(),
		{table: inventory.TableBridge, keys: []snmp.OID{dot1dBaseBridgeAddress, dot1dBasePortIfIndex, dot1dStpPortState, ieeePortIfIndex},
			rest: insteadOf(dot1dBaseBridgeAddress, ieeeBridgeAddress)},
		fdbModule(),
		vlanModule(),
		lldpModule(),
		pseModule(inventory.TablePSE, pethRFC),
		pseModule(inventory.TablePSE8023, pethIEEE),
		{table: inventory.TableEntity, keys: []snmp.OID{entPhysicalClass, entAliasMappingIdentifier}, rest: rest(
			when{entPhysicalClass, without(entityFields, entPhysicalClass)})},
		{table: inventory.TableSensor, keys: []snmp.OID{entPhySensorType}, rest: rest(
			when{entPhySensorType, without(sensorFields, entPhySensorType)})},
		{table: inventory.TableEnergy, keys: []snmp.OID{eoPower, eoEthPortIndex}, rest: rest(
			when{eoPower, without(energyFields, eoPower, eoEthPortIndex)[:2]},
			when{eoEthPortIndex, without(energyFields, eoPower, eoEthPortIndex)[2:]})},
		{table: inventory.TableHost, keys: []snmp.OID{hrSystemUptime, hrSystemDate, hrStorageType}, rest: rest(
			when{hrStorageType, without(storageFields, hrStorageType)})},
		{table: inventory.TableUPS, keys: []snmp.OID{upsIdent, upsBattery, upsOutputSource}, rest: func(have rows) []snmp.OID {
			if len(have.below(upsIdent))+len(have.below(upsBattery))+len(have.below(upsOutputSource)) == 0 {
				return nil
			}
			return []snmp.OID{upsInputFrequency, upsInputVoltage, upsOutput.Append(2), upsOutputVoltage, upsOutputCurrent,
				upsOutputPower, upsOutputPercentLoad, upsAlarmDescr}
		}},
		{table: inventory.TableDot11, keys: []snmp.OID{dot11CurrentTxPowerLevel, dot11CurrentChannel, dot11CurrentFrequency}, rest: rest(
			when{dot11CurrentTxPowerLevel, without(dot11Fields(), dot11CurrentTxPowerLevel, dot11CurrentChannel, dot11CurrentFrequency)})},
		{table: inventory.TablePrinter, keys: []snmp.OID{prtGeneralConfigChanges, prtGeneralPrinterName}},
		{table: inventory.TableLAG, keys: []snmp.OID{dot3adAggPortAttachedAggID}},
	}
}

func neighborModule() module {
	media, phys := ipNetToMediaPhysAddress, ipNetToPhysicalPhysAddress
	return module{table: inventory.TableNeighbors, keys: []snmp.OID{media, phys}, rest: rest(
		when{media, without(ipNetToMediaFields, media)}, when{phys, without(ipNetToPhysicalFields, phys)})}
}

func fdbModule() module {
	return module{table: inventory.TableFDB, keys: []snmp.OID{dot1dTpFdbPort, dot1qTpFdbPort}, rest: func(have rows) []snmp.OID {
		return append(
			rest(when{dot1dTpFdbPort, []snmp.OID{dot1dTpFdbStatus}}, when{dot1qTpFdbPort, []snmp.OID{dot1qTpFdbStatus}})(have),
			insteadOf(dot1qTpFdbPort, ieeeFdbPort, ieeeFdbStatus)(have)...)
	}}
}

func vlanModule() module {
	return module{table: inventory.TableVLAN, keys: []snmp.OID{dot1qVlanFdbId, dot1qVlanStaticName, dot1qPvid}, rest: func(have rows) []snmp.OID {
		return slices.Concat(
			atMark(have, dot1qVlanFdbId, without(vlanCurrentFields, dot1qVlanFdbId)),
			rest(when{dot1qVlanStaticName, without(vlanStaticFields, dot1qVlanStaticName)})(have),
			insteadOf(dot1qVlanFdbId, ieeeVlanFdbID, ieeeVlanEgress, ieeeVlanUntagged)(have),
			insteadOf(dot1qVlanStaticName, ieeeVlanName)(have),
			insteadOf(dot1qPvid, ieeePvid)(have))
	}}
}

func pseModule(table string, arc pseArcs) module {
	return module{table: table, keys: []snmp.OID{arc.detection(), arc.mainPower()}, rest: func(have rows) []snmp.OID {
		var out []snmp.OID
		switch both := len(have.below(pethRFC.detection())) > 0; {
		case len(have.below(arc.detection())) == 0:
		case table == inventory.TablePSE8023 && both:
			out = oids(arc.own()) // the rest would be the same once more
		default:
			out = without(arc.fields(), arc.detection())
		}
		return append(out, rest(when{arc.mainPower(), without(arc.mainFields(), arc.mainPower())})(have)...)
	}}
}

func lldpModule() module {
	m := module{table: inventory.TableLLDP}
	for _, a := range []lldpArc{lldp1, lldp2} {
		m.keys = append(m.keys, a.locChassis().Append(2), a.locPortID(), a.remChassis())
	}
	powerOnly := lldp2.powerRem[1].Append(1)
	m.keys = append(m.keys, powerOnly)
	m.rest = func(have rows) []snmp.OID {
		var out []snmp.OID
		for _, a := range []lldpArc{lldp1, lldp2} {
			out = append(out, rest(
				when{a.locChassis().Append(2), []snmp.OID{a.locChassis().Append(1), a.locChassis().Append(3)}},
				when{a.locPortID(), without(a.localPortFields(), a.locPortID())},
			)(have)...)
			out = append(out, atMark(have, a.remChassis(), append(without(a.remoteFields(), a.remChassis(), powerOnly), a.remAddress()))...)
		}
		if len(have.below(lldp2.remChassis())) == 0 {
			entry := lldp2.powerRem[1]
			out = append(out, atMark(have, powerOnly, []snmp.OID{entry.Append(6), entry.Append(10), entry.Append(11)})...)
		}
		return out
	}
	return m
}

// atMark gives the columns to read of a table whose index begins with a time
// mark: whole, or where an agent repeats its rows for each mark (RFC 2021,
// TimeFilter) the rows of the first mark, which are all.
func atMark(have rows, key snmp.OID, columns []snmp.OID) []snmp.OID {
	if len(have.below(key)) == 0 {
		return nil
	}
	mark, repeated := repeatedMarks(have, key)
	if !repeated {
		return columns
	}
	out := make([]snmp.OID, len(columns))
	for i, o := range columns {
		out[i] = o.Append(mark)
	}
	return out
}

// repeatedMarks reports whether the rows of a second time mark repeat those of the
// first and bring no others: then the first mark has all there is, read to its end.
func repeatedMarks(have rows, key snmp.OID) (first uint32, repeated bool) {
	seen := map[string]bool{}
	for index := range have.column(key) {
		if len(index) < 2 {
			return 0, false
		}
		tail := index[1:].String()
		switch {
		case len(seen) == 0:
			first = index[0]
			seen[tail] = true
		case index[0] == first:
			seen[tail] = true
		case !seen[tail]:
			return 0, false
		default:
			repeated = true
		}
	}
	return first, repeated
}
