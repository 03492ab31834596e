package inventory

import "time"

const (
	tick       = 10 * time.Millisecond
	tickSpan   = time.Duration(1<<32) * tick // 497 d 2 h 27 m 52.96 s
	tickJitter = 2 * time.Minute
	neverMoves = 3 // equal readings after which an uptime is no use
)

// Life is what two readings of an uptime say of the time between them.
type Life string

// The judgements.
const (
	LifeUnknown   Life = "" // nothing to compare, or nothing offered
	LifeOn        Life = "on"
	LifeWrapped   Life = "wrapped" // the counter passed 2^32: it is up for at least 497 days
	LifeRestarted Life = "restarted"
	LifeUnusable  Life = "unusable" // the same value in three readings
)

// JudgeUptime compares a reading with the earlier ones, newest first. Where
// snmpEngineBoots is there it decides; then hrSystemUptime, which is the
// host's own; then sysUpTime, whose wrap is told from a restart by the time
// that went by (RFC 3414, RFC 2790, RFC 3418).
func JudgeUptime(now UpTime, earlier []UpTime) Life {
	if len(earlier) == 0 {
		return LifeUnknown
	}
	before := earlier[0]
	if now.Boots != nil && before.Boots != nil {
		if *now.Boots != *before.Boots {
			return LifeRestarted
		}
		return LifeOn
	}
	if now.Host != nil && before.Host != nil {
		return judgeTicks(*now.Host, *before.Host, now.Read.Sub(before.Read))
	}
	if stuck(now, earlier) {
		return LifeUnusable
	}
	return judgeTicks(now.Ticks, before.Ticks, now.Read.Sub(before.Read))
}

func stuck(now UpTime, earlier []UpTime) bool {
	if len(earlier) < neverMoves-1 {
		return now.Ticks == 0 && earlier[0].Ticks == 0
	}
	for _, e := range earlier[:neverMoves-1] {
		if e.Ticks != now.Ticks {
			return false
		}
	}
	return true
}

func judgeTicks(now, before uint32, elapsed time.Duration) Life {
	if elapsed < 0 {
		return LifeUnknown // our clock went back
	}
	if now == before && elapsed > tickJitter {
		return LifeUnknown // it stands still: a restart to the very tick is less likely
	}
	expected := time.Duration(before)*tick + elapsed
	got := time.Duration(now) * tick
	switch {
	case now >= before && expected < tickSpan:
		if expected-got > tickJitter {
			return LifeRestarted // it counted less than the time that went by
		}
		return LifeOn
	case expected >= tickSpan && within(got, expected%tickSpan, tickJitter):
		return LifeWrapped
	}
	return LifeRestarted
}

func within(a, b, slack time.Duration) bool {
	d := a - b
	return d <= slack && -d <= slack
}

// bestUp is the most that a reading says of how long the device has been up.
func bestUp(u UpTime) (time.Duration, string) {
	switch {
	case u.Host != nil:
		return time.Duration(*u.Host) * tick, "hrSystemUptime"
	case u.Engine != nil && time.Duration(*u.Engine)*time.Second > time.Duration(u.Ticks)*tick:
		return time.Duration(*u.Engine) * time.Second, "snmpEngineTime"
	}
	return time.Duration(u.Ticks) * tick, "sysUpTime"
}
