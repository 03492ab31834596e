package login

import (
	"fmt"
	"net/netip"
	"slices"
	"time"
)

const (
	between      = 24 * time.Hour      // one try for a device and account
	betweenBoots = 30 * 24 * time.Hour // one try because of a restart: some failure counters never expire
	macFresh     = 10 * time.Second    // how old a read MAC may be
)

// What allows a try; kept in Try.Why.
const (
	whyAsked     = "a person asked"
	whyFirst     = "never tried before"
	whyDevice    = "the device was replaced"
	whyFirmware  = "the firmware changed"
	whyAccepted  = "it was accepted last time"
	whyUnsent    = "no login was sent last time"
	whyRestarted = "the device restarted"
)

// Gate decides whether a login may be tried. The zero value allows private and
// link-local addresses only. It is pure: it sends and stores nothing.
type Gate struct {
	// Lab lists further ranges that may be tried. Only loopback and the
	// documentation ranges (RFC 5737, RFC 3849) have an effect.
	Lab []netip.Prefix
}

// Decision is the gate's answer.
type Decision struct {
	Allowed bool
	Why     string // what allowed it, or why not, in words for the coverage
}

func no(format string, args ...any) Decision {
	return Decision{Why: fmt.Sprintf(format, args...)}
}

// Decide judges one target at one moment. tries is all that the ledger holds
// for the device's name and MACs, in any order. A try is allowed where the plan
// names device and account and is switched on, the address is of a kind that
// may be tried, the MAC on it was read within 10 s and is planned (on
// loopback, which has none, that rule falls away), no sign of a lock stands,
// and the past tries leave room.
func (g Gate) Decide(now time.Time, t Target, s Sighting, tries []Try) Decision {
	if d := g.onPaper(t); !d.Allowed {
		return d
	}
	if d := onLink(now, t, s); !d.Allowed {
		return d
	}
	return onRecord(now, t, s, tries)
}

// onPaper judges what the plan and the address say.
func (g Gate) onPaper(t Target) Decision {
	switch {
	case t.Device == "":
		return no("no plan names this device")
	case t.LeaveAlone:
		return no("the plan says to leave it alone")
	case t.Account.Entry == "" || !t.Account.Password.IsSet():
		return no("the plan lists no factory account for it")
	case t.SameAsIntended:
		return no("the factory account is also the intended one: see the plan check")
	case t.Switch != OnRequest && t.Switch != AfterChange:
		return no("factory_logins is off")
	case t.Switch == OnRequest && !t.Asked:
		return no("factory logins are checked on request only")
	case !g.mayTry(t.Address):
		return no("its address is neither private nor link-local")
	}
	if p := t.Account.problem(); p != "" {
		return no("%s", p)
	}
	return Decision{Allowed: true}
}

var documentation = []netip.Prefix{
	netip.MustParsePrefix("192.0.2.0/24"),    // RFC 5737
	netip.MustParsePrefix("198.51.100.0/24"), // RFC 5737
	netip.MustParsePrefix("203.0.113.0/24"),  // RFC 5737
	netip.MustParsePrefix("2001:db8::/32"),   // RFC 3849
}

// mayTry: IsPrivate is RFC 1918 and RFC 4193.
func (g Gate) mayTry(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if a.IsPrivate() || a.IsLinkLocalUnicast() {
		return true
	}
	in := func(p netip.Prefix) bool { return p.Contains(a) }
	return (a.IsLoopback() || slices.ContainsFunc(documentation, in)) && slices.ContainsFunc(g.Lab, in)
}

// onLink judges who has the address now.
func onLink(now time.Time, t Target, s Sighting) Decision {
	if t.Address.Unmap().IsLoopback() {
		return Decision{Allowed: true}
	}
	switch age := now.Sub(s.At); {
	case len(t.MACs) == 0:
		return no("the plan names no MAC for it")
	case s.MAC == [6]byte{}:
		return no("no MAC could be read on its address")
	case !slices.Contains(t.MACs, s.MAC):
		return no("the MAC on its address is not the planned one")
	case age < 0 || age > macFresh:
		return no("the MAC on its address was not read just before")
	}
	return Decision{Allowed: true}
}

// onRecord judges what was tried before.
func onRecord(now time.Time, t Target, s Sighting, tries []Try) Decision {
	var own []Try
	for _, y := range tries {
		if y.Lock != "" && !y.Cleared {
			return no("it showed a sign of a lock on %s; a person must clear it", day(y.At))
		}
		if y.Entry == t.Account.Entry {
			own = append(own, y)
		}
		if d := spaced(now, t, y); !d.Allowed {
			return d
		}
	}
	return granted(now, t, s, own)
}

// spaced keeps 24 hours between two tries of an account, and between a try that
// was not accepted and any other at the device, since failure counters run
// over all accounts and protocols. A try from the future counts as one just now.
func spaced(now time.Time, t Target, y Try) Decision {
	if now.Sub(y.At) >= between {
		return Decision{Allowed: true}
	}
	ahead := y.At.After(now.Add(time.Minute))
	switch unsent := y.Outcome != "" && y.Sent == 0; {
	case ahead && y.Cleared:
	case ahead:
		return no("the ledger holds a try dated %s, which is still to come; a person must clear it", day(y.At))
	case unsent && (t.Asked || y.Entry != t.Account.Entry):
	case y.Entry == t.Account.Entry:
		return no("tried on %s; one try in 24 hours", day(y.At))
	case y.Outcome != Accepted:
		return no("another account was tried on %s and not accepted; one such try a device in 24 hours", day(y.At))
	}
	return Decision{Allowed: true}
}

// granted finds what allows a try. own is what this account's earlier tries were.
func granted(now time.Time, t Target, s Sighting, own []Try) Decision {
	yes := func(why string) Decision { return Decision{Allowed: true, Why: why} }
	if t.Asked {
		return yes(whyAsked)
	}
	if len(own) == 0 {
		return yes(whyFirst)
	}
	last := slices.MaxFunc(own, func(a, b Try) int { return a.At.Compare(b.At) })
	switch {
	case replaced(t, s, own):
		return yes(whyDevice)
	case t.Firmware != "" && slices.ContainsFunc(own, func(y Try) bool { return y.Firmware != "" }) &&
		!slices.ContainsFunc(own, func(y Try) bool { return y.Firmware == t.Firmware }):
		return yes(whyFirmware)
	case last.Outcome == Accepted:
		return yes(whyAccepted)
	case last.Outcome != "" && last.Sent == 0:
		return yes(whyUnsent)
	case t.Booted.After(last.At) && !t.Booted.After(now) && !bootUsed(now, own):
		return yes(whyRestarted)
	case last.Outcome == "":
		return no("the try of %s ended without a known outcome; none follows until a person asks or the device changes", day(last.At))
	}
	return no("%s on %s; none follows until a person asks or the device changes", last.Outcome, day(last.At))
}

// replaced: none of the MACs that the plan names now was there at an earlier try.
func replaced(t Target, s Sighting, own []Try) bool {
	return s.MAC != [6]byte{} && !slices.ContainsFunc(own, func(y Try) bool { return slices.Contains(t.MACs, y.MAC) })
}

func bootUsed(now time.Time, own []Try) bool {
	return slices.ContainsFunc(own, func(y Try) bool {
		return y.Why == whyRestarted && now.Sub(y.At) < betweenBoots
	})
}

func day(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }
