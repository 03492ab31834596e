package mib

import (
	"fmt"
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/inventory/ups"
)

// UPS-MIB (RFC 1628). Only what it offers to read is asked for: its shutdown and
// test objects are for writing.
var (
	upsIdent       = snmp.MustOID("1.3.6.1.2.1.33.1.1")
	upsBattery     = snmp.MustOID("1.3.6.1.2.1.33.1.2")
	upsInputEntry  = snmp.MustOID("1.3.6.1.2.1.33.1.3.3.1")
	upsOutput      = snmp.MustOID("1.3.6.1.2.1.33.1.4")
	upsOutputEntry = upsOutput.Append(4, 1)

	upsOutputSource      = upsOutput.Append(1)
	upsAlarmDescr        = snmp.MustOID("1.3.6.1.2.1.33.1.6.2.1.2")
	upsWellKnownAlarms   = snmp.MustOID("1.3.6.1.2.1.33.1.6.3")
	upsInputFrequency    = upsInputEntry.Append(2)
	upsInputVoltage      = upsInputEntry.Append(3)
	upsOutputVoltage     = upsOutputEntry.Append(2)
	upsOutputCurrent     = upsOutputEntry.Append(3)
	upsOutputPower       = upsOutputEntry.Append(4)
	upsOutputPercentLoad = upsOutputEntry.Append(5)
)

// upsAlarms are the well-known alarms by their last number.
var upsAlarms = map[uint32]string{
	1: "upsAlarmBatteryBad", 2: "upsAlarmOnBattery", 3: "upsAlarmLowBattery", 4: "upsAlarmDepletedBattery", 5: "upsAlarmTempBad",
	6: "upsAlarmInputBad", 8: "upsAlarmOutputOverload", 20: "upsAlarmCommunicationsLost",
}

func decodeUPS(r rows) *inventory.UPSReading {
	if len(r.below(upsIdent))+len(r.below(upsBattery))+len(r.below(upsOutput)) == 0 {
		return nil
	}
	u := &upsReader{rows: r}
	u.Maker = text(r.scalar(upsIdent.Append(1)))    // upsIdentManufacturer
	u.Model = text(r.scalar(upsIdent.Append(2)))    // upsIdentModel
	u.Firmware = text(r.scalar(upsIdent.Append(3))) // upsIdentUPSSoftwareVersion
	u.Source = word(r.scalar(upsOutputSource), "", "other", "none", "normal", "bypass", "battery", "booster", "reducer")
	u.Battery = word(r.scalar(upsBattery.Append(1)), "", "", "normal", "low", "depleted") // upsBatteryStatus
	u.battery()
	u.lines()
	for _, v := range r.column(upsAlarmDescr) {
		o, ok := v.OID()
		if !ok || len(o) != len(upsWellKnownAlarms)+1 || !o.HasPrefix(upsWellKnownAlarms) {
			continue
		}
		if name := upsAlarms[o[len(o)-1]]; name != "" && !slices.Contains(u.Alarms, name) {
			u.Alarms = append(u.Alarms, name)
		}
	}
	return &u.UPSReading
}

type upsReader struct {
	inventory.UPSReading
	rows rows
}

func (u *upsReader) odd(format string, args ...any) {
	const most = 16
	if s := fmt.Sprintf(format, args...); len(u.Odd) < most && !slices.Contains(u.Odd, s) {
		u.Odd = append(u.Odd, s)
	}
}

// number gives a value to use; what use refuses is odd.
func (u *upsReader) number(what string, v snmp.Value, use func(int64) bool) {
	n, ok := v.Int64()
	switch {
	case ok && !use(n):
		u.odd("%s of %d", what, n)
	case !ok && v.Kind == snmp.OctetString:
		u.odd("%s is a text", what)
	}
}

func (u *upsReader) battery() {
	u.number("seconds on battery", u.rows.scalar(upsBattery.Append(2)), func(n int64) bool { // upsSecondsOnBattery
		d, ok := ups.OnBattery(n)
		if ok {
			u.OnBattery = &d
		}
		return ok
	})
	u.number("runtime", u.rows.scalar(upsBattery.Append(3)), func(n int64) bool { // upsEstimatedMinutesRemaining
		d, ok := ups.Minutes(n)
		if ok {
			u.Runtime = &d
		}
		return ok
	})
	u.number("charge", u.rows.scalar(upsBattery.Append(4)), func(n int64) bool { // upsEstimatedChargeRemaining
		c, ok := ups.Charge(n)
		if ok {
			u.Charge = &c
		}
		return ok
	})
	u.number("battery voltage", u.rows.scalar(upsBattery.Append(5)), func(n int64) bool { // upsBatteryVoltage
		volts, ok := ups.BatteryVolts(n)
		if ok {
			u.Volts = &volts
		}
		return ok
	})
	u.number("battery temperature", u.rows.scalar(upsBattery.Append(7)), func(n int64) bool { // upsBatteryTemperature
		c, ok := ups.Celsius(n)
		if ok {
			u.Celsius = new(float64(c))
		}
		return ok
	})
}

// lineRow is a line of the input or output.
type lineRow struct {
	volts, amps, watts, load snmp.Value
}

var upsOutputFields = []field[lineRow]{
	{upsOutputVoltage, func(l *lineRow, v snmp.Value) { l.volts = v }},
	{upsOutputCurrent, func(l *lineRow, v snmp.Value) { l.amps = v }},
	{upsOutputPower, func(l *lineRow, v snmp.Value) { l.watts = v }},
	{upsOutputPercentLoad, func(l *lineRow, v snmp.Value) { l.load = v }},
}

// lines sums the power of the output lines and takes the highest load.
func (u *upsReader) lines() {
	for _, v := range u.rows.column(upsInputFrequency) {
		u.frequency("input frequency", v)
	}
	for _, v := range u.rows.column(upsInputVoltage) {
		u.voltage("input voltage", v)
	}
	u.frequency("output frequency", u.rows.scalar(upsOutput.Append(2))) // upsOutputFrequency
	var total int64
	var apparent float64
	sound := false
	for _, l := range gather(u.rows, oneIndex, upsOutputFields) {
		volts := u.voltage("output voltage", l.row.volts)
		if amps, ok := whole(l.row.amps, 0, 1<<20); ok {
			apparent += volts * float64(amps) / 10
		}
		u.number("load", l.row.load, func(n int64) bool {
			percent, ok := ups.Load(n)
			if ok && (u.Load == nil || percent > *u.Load) {
				u.Load = &percent
			}
			return ok
		})
		u.number("output power", l.row.watts, func(n int64) bool {
			if n < 0 || n > 1_000_000 {
				return false
			}
			total, sound = total+n, true
			return true
		})
	}
	if !sound || total > 2_000_000 {
		return
	}
	// Volts times amperes bound the watts. Far less is another unit: some say kilowatts.
	if w := float64(total); apparent >= 50 && (w > 1.5*apparent || w < 0.05*apparent) {
		u.odd("output power of %d W at %.0f VA", total, apparent)
		return
	}
	u.Output = new(inventory.Power(total) * poe.Watt)
}

// voltage is a line's voltage; 0 if it says none.
func (u *upsReader) voltage(what string, v snmp.Value) (volts float64) {
	u.number(what, v, func(n int64) bool {
		known, tenfold, ok := ups.LineVolts(n)
		if tenfold {
			u.odd("%s in ten times its unit", what)
		}
		volts = known
		return ok
	})
	return volts
}

func (u *upsReader) frequency(what string, v snmp.Value) {
	u.number(what, v, func(n int64) bool {
		_, tenfold, ok := ups.Hertz(n)
		if tenfold {
			u.odd("%s in ten times its unit", what)
		}
		return ok
	})
}
