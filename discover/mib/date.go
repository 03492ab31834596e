package mib

import (
	"time"

	"boundwalk/discover/snmp"
)

// dateAndTime decodes DateAndTime (RFC 2579): 8 octets in an unnamed zone, which
// is given as UTC, or 11 with one. All zeros mean unknown (erratum to RFC 2579).
func dateAndTime(v snmp.Value) (at time.Time, zone, ok bool) {
	b, _ := v.Bytes()
	if len(b) != 8 && len(b) != 11 {
		return time.Time{}, false, false
	}
	year := int(b[0])<<8 | int(b[1])
	month, day := time.Month(b[2]), int(b[3])
	hour, minute, second, tenth := int(b[4]), int(b[5]), int(b[6]), int(b[7])
	if month < 1 || month > 12 || hour > 23 || minute > 59 || second > 60 || tenth > 9 {
		return time.Time{}, false, false
	}
	where := time.UTC
	if len(b) == 11 {
		offset := int(b[9])*3600 + int(b[10])*60
		if b[9] > 14 || b[10] > 59 || b[8] != '+' && b[8] != '-' { // zones reach 14 hours; RFC 2579 printed 13
			return time.Time{}, false, false
		}
		if b[8] == '-' {
			offset = -offset
		}
		where, zone = time.FixedZone("", offset), true
	}
	if time.Date(year, month, day, 0, 0, 0, 0, where).Day() != day { // 31 April
		return time.Time{}, false, false
	}
	at = time.Date(year, month, day, hour, minute, second, tenth*1e8, where)
	return at, zone, true
}
