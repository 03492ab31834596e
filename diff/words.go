package diff

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
)

// when is a time for people, in the site's zone.
func (a *auditor) when(t time.Time) string { return t.In(a.loc).Format("Mon 2 Jan 15:04") }

// lasts is a span for people, in two units: "5 h 50 min", "9 days".
func lasts(d time.Duration) string {
	switch m := int(d / time.Minute); {
	case d < 0:
		return "0 min"
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m < 48*60 && m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	case m < 48*60:
		return fmt.Sprintf("%d h %d min", m/60, m%60)
	default:
		return fmt.Sprintf("%d days", m/(24*60))
	}
}

// Plural is a count with its noun, as findings, reports and mails write it.
func Plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

const mostNamed = 6

// names lists a few names and counts the rest.
func names(list []string) string {
	list = slices.Compact(slices.Sorted(slices.Values(list)))
	more := ""
	if n := len(list) - mostNamed; n > 1 {
		list, more = list[:mostNamed], fmt.Sprintf(" and %d more", n)
	}
	if more == "" && len(list) > 1 {
		return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
	}
	return strings.Join(list, ", ") + more
}

func addrs(list []netip.Addr) string {
	out := make([]string, 0, len(list))
	for _, ip := range list {
		out = append(out, ip.String())
	}
	return strings.Join(out, ", ")
}

func macs(list []inventory.MAC) string {
	out := make([]string, 0, len(list))
	for _, m := range list {
		out = append(out, m.String())
	}
	return strings.Join(out, ", ")
}

// portWords says a port in a sentence.
func portWords(r inventory.PortRef) string {
	if r.Port == "" {
		return r.Device
	}
	return "port " + r.Port + " of " + r.Device
}

// sentence joins the parts that are there.
func sentence(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "; ")
}

// linkWords says what the link on a port is like; empty where it is not known.
func linkWords(p *inventory.PortState) string {
	switch {
	case p == nil || p.Up == nil:
		return ""
	case !*p.Up && p.AdminUp != nil && !*p.AdminUp:
		return portWords(refOf(p)) + " is switched off in the switch's settings"
	case !*p.Up:
		return portWords(refOf(p)) + " has no link"
	case p.Speed > 0:
		return fmt.Sprintf("%s has a link at %s", portWords(refOf(p)), p.Speed)
	}
	return portWords(refOf(p)) + " has a link"
}

// traits says of an unknown device what helps to find it.
func (a *auditor) traits(d *inventory.SeenDevice) string {
	var parts []string
	say := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	switch p := d.Place; {
	case p.IsZero():
		say("its port is not known")
	case p.Among > 1:
		say("behind %s, among %d", portWords(p.Ref()), p.Among)
	case p.Basis == inventory.Remembered:
		say("last on %s, %s", portWords(p.Ref()), a.when(p.Seen))
	default:
		say("on %s", portWords(p.Ref()))
	}
	if len(d.Addrs) > 0 {
		say("address %s", addrs(d.Addrs[:min(len(d.Addrs), 3)]))
	}
	if d.Hostname != "" {
		say("calls itself %q", d.Hostname)
	}
	if d.Maker != "" && (!d.Private || d.MakerBy != "registry") {
		say("made by %s", d.Maker)
	}
	if d.Product != "" {
		say("model %s", d.Product)
	}
	if d.Role != "" {
		say("looks like a %s", d.Role)
	}
	if d.Private {
		say("its MAC address is made up, so it tells no maker")
	}
	if p := a.ports[portKey(d.Place.Ref())]; p != nil && p.Power != nil && p.Power.State == inventory.PSEDelivering && d.Place.Among < 2 {
		say("takes %s power", p.Power.Class)
	}
	return sentence(parts...)
}
