package ups

import "time"

// The readings below judge one raw value of UPS-MIB (RFC 1628). False means
// that the value cannot be and counts as unknown: agents put -1 where they
// have nothing, and some give voltage and frequency in ten times the unit.

// Minutes reads upsEstimatedMinutesRemaining, which counts from 1. A year and
// more is no estimate.
func Minutes(raw int64) (time.Duration, bool) {
	if raw < 1 || raw > 365*24*60 {
		return 0, false
	}
	return time.Duration(raw) * time.Minute, true
}

// OnBattery reads upsSecondsOnBattery: zero on mains. It starts again with the
// agent. A year and more cannot be.
func OnBattery(raw int64) (time.Duration, bool) {
	if raw < 0 || raw > 365*24*3600 {
		return 0, false
	}
	return time.Duration(raw) * time.Second, true
}

// Charge reads upsEstimatedChargeRemaining, 0 to 100 percent.
func Charge(raw int64) (percent int, ok bool) { return percentUpTo(raw, 100) }

// Load reads upsOutputPercentLoad, 0 to 200 percent.
func Load(raw int64) (percent int, ok bool) { return percentUpTo(raw, 200) }

func percentUpTo(raw, most int64) (int, bool) {
	if raw < 0 || raw > most {
		return 0, false
	}
	return int(raw), true
}

// Celsius reads upsBatteryTemperature in whole degrees. RFC 1628 allows -1,
// but an agent that says it means that it has no value, far more often than
// frost. Below -40 and above 100 cannot be.
func Celsius(raw int64) (degrees int, ok bool) {
	if raw == -1 || raw < -40 || raw > 100 {
		return 0, false
	}
	return int(raw), true
}

// BatteryVolts reads upsBatteryVoltage, tenths of a volt. Zero, and more than
// 1000 V, cannot be of a battery that works.
func BatteryVolts(raw int64) (volts float64, ok bool) {
	if raw < 1 || raw > 10_000 {
		return 0, false
	}
	return float64(raw) / 10, true
}

// LineVolts reads upsInputVoltage and upsOutputVoltage. RFC 1628 has whole
// volts; some agents give tenths. No mains has more than 520 V or, in tenths,
// less than 80 V, so the two cannot be taken for each other, and odd reports
// the second. Zero is a line without voltage.
func LineVolts(raw int64) (volts float64, odd, ok bool) {
	switch {
	case raw == 0, raw >= 80 && raw <= 520:
		return float64(raw), false, true
	case raw >= 800 && raw <= 5200:
		return float64(raw) / 10, true, true
	}
	return 0, false, false
}

// Hertz reads upsInputFrequency and upsOutputFrequency. RFC 1628 has tenths;
// some agents give hundredths, which odd reports. Zero is a line without
// voltage; a mains has 40 to 70 Hz.
func Hertz(raw int64) (hertz float64, odd, ok bool) {
	switch {
	case raw == 0, raw >= 400 && raw <= 700:
		return float64(raw) / 10, false, true
	case raw >= 4000 && raw <= 7000:
		return float64(raw) / 100, true, true
	}
	return 0, false, false
}
