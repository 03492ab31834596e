package mibrows

import (
	"math"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// storage writes hrStorageTable. Its sizes are Integer32, so that a large disk
// has large units, as agents do it.
func (t *table) storage(list []inventory.Storage) {
	for _, s := range list {
		n := uint32(s.Index)
		kind := hrStorageRam
		if s.Fixed {
			kind = hrStorageFixedDisk
		}
		unit := int64(4096)
		for s.Size/unit > math.MaxInt32 {
			unit *= 2
		}
		t.integer(hrStorageIndex, s.Index, n)
		t.put(hrStorageType, simnet.OID(kind), n)
		t.text(hrStorageDescr, s.Descr, n)
		t.integer(hrStorageAllocationUnits, int(unit), n)
		t.integer(hrStorageSize, int(s.Size/unit), n)
		t.integer(hrStorageUsed, int(s.Used/unit), n)
	}
}

// date writes hrSystemDate as the device had it when it was read; it goes on
// from there as the agent runs.
func (t *table) date(d *inventory.AgentDate) {
	if d == nil {
		return
	}
	t.put(hrSystemDate, simnet.Computed(func(up time.Duration) simnet.Value {
		return simnet.Octets(dateAndTime(d.Time.Add(up), d.Zone))
	}), 0)
}

// dateAndTime is DateAndTime (RFC 2579): 8 octets, or 11 with a zone.
func dateAndTime(at time.Time, zone bool) []byte {
	b := []byte{
		byte(at.Year() >> 8), byte(at.Year()), byte(at.Month()), byte(at.Day()),
		byte(at.Hour()), byte(at.Minute()), byte(at.Second()), byte(at.Nanosecond() / 1e8),
	}
	if !zone {
		return b
	}
	_, offset := at.Zone()
	sign := byte('+')
	if offset < 0 {
		sign, offset = '-', -offset
	}
	return append(b, sign, byte(offset/3600), byte(offset/60%60))
}

// ups writes UPS-MIB, in its units: tenths of a volt, minutes, whole degrees.
func (t *table) ups(u *inventory.UPSReading) {
	if u == nil {
		return
	}
	sources := map[string]int{"other": 1, "none": 2, "normal": 3, "bypass": 4, "battery": 5, "booster": 6, "reducer": 7}
	batteries := map[string]int{"": 1, "normal": 2, "low": 3, "depleted": 4}
	t.text(upsIdentManufacturer, u.Maker, 0)
	t.text(upsIdentModel, u.Model, 0)
	t.text(upsIdentUPSSoftwareVersion, u.Firmware, 0)
	if n := sources[u.Source]; n != 0 {
		t.integer(upsOutputSource, n, 0)
	}
	if n := batteries[u.Battery]; n != 0 {
		t.integer(upsBatteryStatus, n, 0)
	}
	if u.OnBattery != nil {
		t.integer(upsSecondsOnBattery, int(*u.OnBattery/time.Second), 0)
	}
	if u.Runtime != nil {
		t.integer(upsEstimatedMinutesRemaining, int(*u.Runtime/time.Minute), 0)
	}
	if u.Charge != nil {
		t.integer(upsEstimatedChargeRemaining, *u.Charge, 0)
	}
	if u.Volts != nil {
		t.integer(upsBatteryVoltage, int(math.Round(*u.Volts*10)), 0)
	}
	if u.Celsius != nil {
		t.integer(upsBatteryTemperature, int(math.Round(*u.Celsius)), 0)
	}
	t.integer(upsOutputNumLines, 1, 0)
	if u.Load != nil {
		t.integer(upsOutputPercentLoad, *u.Load, 1)
	}
	if u.Output != nil {
		t.integer(upsOutputPower, int(*u.Output+500)/1000, 1)
	}
	known := upsAlarms()
	t.gauge(upsAlarmsPresent, int64(len(u.Alarms)), 0)
	for i, name := range u.Alarms {
		if o := known[name]; o != "" {
			t.put(upsAlarmDescr, simnet.OID(o), uint32(i+1))
		}
	}
}

// upsAlarms are the well-known alarms (RFC 1628).
func upsAlarms() map[string]string {
	return map[string]string{
		"upsAlarmBatteryBad": upsAlarmBatteryBad, "upsAlarmOnBattery": upsAlarmOnBattery,
		"upsAlarmLowBattery": upsAlarmLowBattery, "upsAlarmDepletedBattery": upsAlarmDepletedBattery,
		"upsAlarmTempBad": upsAlarmTempBad, "upsAlarmInputBad": upsAlarmInputBad,
		"upsAlarmOutputOverload": upsAlarmOutputOverload, "upsAlarmCommunicationsLost": upsAlarmCommunicationsLost,
	}
}

// radio writes IEEE802dot11-MIB: the power as the level in use, in milliwatts.
func (t *table) radio(list []inventory.RadioInterface) {
	for _, r := range list {
		n := uint32(r.Index)
		if r.Channel > 0 {
			t.integer(dot11CurrentChannel, r.Channel, n)
		}
		if r.TxPower != nil {
			t.integer(dot11TxPowerLevel1, int(math.Round(math.Pow(10, *r.TxPower/10))), n)
			t.integer(dot11CurrentTxPowerLevel, 1, n)
		}
	}
}
