package mibrows

import (
	"math"

	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

func (t *table) entities(list []inventory.Entity) {
	for _, e := range list {
		n := uint32(e.Index)
		t.text(entPhysicalDescr, e.Descr, n)
		t.integer(entPhysicalContainedIn, int(e.In), n)
		t.integer(entPhysicalClass, e.Class, n)
		t.integer(entPhysicalParentRelPos, e.Position, n)
		t.text(entPhysicalName, e.Name, n)
		t.text(entPhysicalHardwareRev, e.Hardware, n)
		t.text(entPhysicalFirmwareRev, e.Firmware, n)
		t.text(entPhysicalSoftwareRev, e.Software, n)
		t.text(entPhysicalSerialNum, e.Serial, n)
		t.text(entPhysicalMfgName, e.Maker, n)
		t.text(entPhysicalModelName, e.Model, n)
		for logical, port := range e.Interfaces {
			t.put(entAliasMappingIdentifier, simnet.OID(instance(ifIndex, uint32(port))), n, uint32(logical))
		}
	}
}

// sensors writes entPhySensorTable in units with three places. The name is the
// entity's.
func (t *table) sensors(list []inventory.SensorReading) {
	const units, places = 9, 3
	for _, s := range list {
		n := uint32(s.Entity)
		value, status := 0, 2 // unavailable(2)
		if s.Value != nil {
			value, status = int(math.Round(*s.Value*1000)), 1 // ok(1)
		}
		t.integer(entPhySensorType, s.Type, n)
		t.integer(entPhySensorScale, units, n)
		t.integer(entPhySensorPrecision, places, n)
		t.integer(entPhySensorValue, min(max(value, -1e9), 1e9), n) // the ends mean underflow and overflow (RFC 3433)
		t.integer(entPhySensorOperStatus, status, n)
	}
}

// energy writes eoPowerTable in milliwatts, negative for what feeds (RFC 7460),
// and where in the other tables the same port is.
func (t *table) energy(list []inventory.EnergyObject) {
	for _, e := range list {
		n := uint32(e.Entity)
		milliwatts, caliber := 0, 1 // unavailable(1)
		if e.Power != nil {
			milliwatts, caliber = int(*e.Power), 5 // static(5)
		}
		if e.Power != nil && e.Measured {
			caliber = 3 // actual(3)
		}
		if e.Supplies {
			milliwatts = -milliwatts
		}
		t.integer(eoPower, milliwatts, n)
		t.integer(eoPowerUnitMultiplier, -3, n)
		t.integer(eoPowerMeasurementCaliber, caliber, n)
		t.integer(eoEthPortGrpIndex, e.Port.Group, n)
		t.integer(eoEthPortIndex, e.Port.Port, n)
		t.integer(eoLldpPortNumber, int(e.LLDP), n)
	}
}
