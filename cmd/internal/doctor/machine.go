package doctor

import (
	"fmt"
	"net"
	"net/netip"
	"time"

	"boundwalk/inventory"
)

// Rights says what this process may do; raw is whether it may sweep by ARP.
func Rights() (lines []Line, raw bool) {
	l := Line{Part: "rights", Subject: "raw sockets", State: Pass, Found: "allowed: ARP sees all that answers"}
	raw, err := rawRight()
	switch {
	case err != nil:
		l.State, l.Found, l.Do = Unknown, err.Error(), "run it as root, or see what your system asks for raw sockets"
	case !raw:
		l.State, l.Found = Warn, "not allowed: only this machine's neighbour table is read, which sees less"
		l.Do = "run it as the service, which may; or ask the daemon for a run; or give the program the right: setcap cap_net_raw+ep, as root"
	}
	return []Line{l}, raw
}

// Clock judges this machine's clock. Earliest is a time that is surely past,
// such as the last run's.
func Clock(now, earliest time.Time) Line {
	l := Line{Part: "clock", Subject: "this machine", State: Pass, Found: now.Format("2006-01-02 15:04:05 MST") + ", kept by a time service"}
	synced, err := clockSynced()
	switch {
	case now.Before(earliest):
		l.State, l.Found, l.Do = Fail, fmt.Sprintf("%s lies before the last run, %s", now.Format(time.DateTime),
			earliest.In(now.Location()).Format(time.DateTime)), "set this machine's clock: digests and absences go by it"
	case err != nil:
		l.State, l.Found, l.Do = Unknown, now.Format("2006-01-02 15:04:05 MST")+"; whether a time service keeps it is "+err.Error(), "see that one does"
	case !synced:
		l.State, l.Found, l.Do = Warn, now.Format("2006-01-02 15:04:05 MST")+"; no time service says that it is right",
			"switch a time service on: clocks of devices are judged by this one"
	}
	return l
}

// Attached are this machine's own addresses in the plan's networks.
func Attached(plan *inventory.Plan) ([]inventory.Attached, error) {
	ifs, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var out []inventory.Attached
	for _, i := range ifs {
		addrs, err := i.Addrs()
		if err != nil {
			return nil, err
		}
		for _, a := range addrs {
			p, err := netip.ParsePrefix(a.String())
			if err != nil || i.Flags&net.FlagLoopback != 0 {
				continue
			}
			if n, ok := plan.NetworkOf(p.Addr()); ok && p.Addr().Is4() {
				out = append(out, inventory.Attached{Network: n.Name, Interface: i.Name, Addr: p.Addr(), Up: i.Flags&net.FlagUp != 0})
			}
		}
	}
	return out, nil
}

// Port judges a TCP port of loopback that the daemon is to listen on.
func Port(what, at string, daemon bool) Line {
	l := Line{Part: "ports", Subject: what, State: Pass, Found: at + " is free"}
	ln, err := net.Listen("tcp", at)
	switch {
	case err == nil:
		ln.Close() // it was only tried
	case daemon:
		l.Found = at + " is in use, as it should be while the daemon runs"
	default:
		l.State, l.Found, l.Do = Fail, err.Error(), "name another port in the plan, or end what uses it"
	}
	return l
}
