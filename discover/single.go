package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"time"

	"boundwalk/discover/lease"
	"boundwalk/discover/reach"
	"boundwalk/inventory"

	"golang.org/x/sync/errgroup"
)

// single are the sources that read a file or ask single addresses, as far as
// the plan switches them on. They reach no further than attached networks and loopback.
func single(plan *inventory.Plan, at []inventory.Attached, swept *heard) []Source {
	s := singles{plan: plan, at: at, swept: swept}
	out := []Source{s.leases}
	if plan.Sources.Echo {
		out = append(out, s.echo)
	}
	if plan.Sources.Clocks {
		out = append(out, s.clocks)
	}
	if plan.Sources.Reach {
		out = append(out, s.doors)
	}
	if plan.Sources.ReverseDNS {
		out = append(out, s.names)
	}
	if plan.Sources.DHCPProbe {
		out = append(out, s.dhcp)
	}
	return out
}

type singles struct {
	plan  *inventory.Plan
	at    []inventory.Attached
	swept *heard
}

// near reports whether the address may be asked: it is in a network that this
// machine is attached to, or loopback, and the plan does not leave it alone.
func (s singles) near(a netip.Addr) bool {
	if !a.IsValid() || slices.Contains(s.plan.LeaveAlone, a) {
		return false
	}
	if a.IsLoopback() {
		return true
	}
	n, ok := s.plan.NetworkOf(a)
	return ok && n.Unknown != inventory.UnknownCount && slices.ContainsFunc(s.at, func(x inventory.Attached) bool { return x.Network == n.Name })
}

func (s singles) leases(_ context.Context, ev *inventory.Evidence) {
	for _, f := range s.plan.Sources.Leases {
		r := lease.Read(f.Path, lease.Options{})
		for _, l := range r.Leases {
			if !l.Expires.IsZero() && l.Expires.Before(time.Now()) {
				continue // its address may be another's by now
			}
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: l.MAC, Addr: l.Addr, Name: inventory.Clean(l.Name),
				Source: inventory.SourceLease, By: r.Server, Seen: r.Written})
		}
		ev.Coverage = append(ev.Coverage, ended(f.Path, inventory.SourceLease, r.End, r.Why))
		if r.Overflow > 0 {
			ev.Capped = append(ev.Capped, fmt.Sprintf("%s: %d more leases than are kept", f.Path, r.Overflow))
		}
	}
}

// echo pings the planned radios and the gateways: loss and delay across a link.
func (s singles) echo(ctx context.Context, ev *inventory.Evidence) {
	var addrs []netip.Addr
	for i := range s.plan.Devices {
		if d := &s.plan.Devices[i]; d.Role == inventory.Radio && s.near(d.Address()) {
			addrs = append(addrs, d.Address())
		}
	}
	for _, n := range s.plan.Networks {
		if s.near(n.Gateway) && !slices.Contains(addrs, n.Gateway) {
			addrs = append(addrs, n.Gateway)
		}
	}
	if len(addrs) == 0 {
		return
	}
	r := reach.Ping(ctx, addrs, reach.PingOptions{Count: 5})
	for _, e := range r.Echoes {
		x := inventory.Reach{Addr: e.Addr, Result: inventory.NoAnswer, Sent: e.Sent, Got: e.Received, Median: e.Mean, Longest: e.Most}
		if e.Received > 0 {
			x.Result = inventory.Complete
			ev.Sightings = append(ev.Sightings, inventory.Sighting{Addr: e.Addr, Source: "echo", Seen: time.Now(), Live: true})
		}
		ev.Reach = append(ev.Reach, x)
	}
	ev.Coverage = append(ev.Coverage, ended("radios and gateways", "echo", r.End, r.Why))
}

// clocksAtOnce bounds how many clocks are read side by side.
const clocksAtOnce = 8

// clocks reads cameras' clocks by their own unauthenticated date request, else
// by the Date of their web page; recorders' by the latter; servers' by SNTP.
func (s singles) clocks(ctx context.Context, ev *inventory.Evidence) {
	type job struct {
		device string
		clock  inventory.Clock
		err    error
	}
	var jobs []*job
	var g errgroup.Group
	g.SetLimit(clocksAtOnce)
	for i := range s.plan.Devices {
		d := &s.plan.Devices[i]
		if !s.near(d.Address()) || !hasClock(d.Role) {
			continue
		}
		j := &job{device: d.Name}
		jobs = append(jobs, j)
		g.Go(func() error {
			j.clock, j.err = readClock(ctx, d)
			return nil
		})
	}
	g.Wait()
	for _, j := range jobs {
		c := inventory.Coverage{Subject: j.device, Source: "clock", Result: inventory.Complete}
		switch {
		case errors.Is(j.err, reach.ErrNoAnswer):
			c.Result = inventory.NoAnswer
		case errors.Is(j.err, reach.ErrRefused), errors.Is(j.err, reach.ErrNotOffered):
			c.Result = inventory.NotOffered
		case j.err != nil:
			c.Result, c.Why = inventory.Partial, j.err.Error()
		default:
			ev.Clocks = append(ev.Clocks, j.clock)
		}
		if c.Result != inventory.NoAnswer { // a camera without that service is silent on its port; nothing is missing
			ev.Coverage = append(ev.Coverage, c)
		}
	}
}

func hasClock(r inventory.Role) bool {
	return r == inventory.Camera || r == inventory.Recorder || r == inventory.Server
}

func readClock(ctx context.Context, d *inventory.Device) (inventory.Clock, error) {
	web := netip.AddrPortFrom(d.Address(), 80)
	source, c, err := "http", reach.Clock{}, error(nil)
	switch d.Role {
	case inventory.Server:
		source = "sntp"
		c, err = reach.SNTP(ctx, netip.AddrPortFrom(d.Address(), 123))
	case inventory.Camera:
		source = "onvif"
		c, err = reach.ONVIFTime(ctx, web)
	}
	if source == "http" || source == "onvif" && err != nil {
		source = "http"
		c, err = reach.HTTPDate(ctx, web, false)
	}
	if err == nil && c.Doubt != "" {
		err = errors.New(inventory.Clean(c.Doubt))
	}
	return inventory.Clock{Addr: d.Address(), Device: d.Name, Source: source, Offset: c.Offset, Sure: c.Error, Read: c.Seen}, err
}

// doorPorts are the management doors that are tried: connect and close.
var doorPorts = map[uint16]string{22: "ssh", 23: "telnet", 80: "http", 443: "https", 554: "rtsp"}

// doors tries the management ports of planned devices, and of unknown ones in
// swept networks for a guess at what they are.
func (s singles) doors(ctx context.Context, ev *inventory.Evidence) {
	addrs := map[netip.Addr]bool{}
	for _, d := range s.plan.Devices {
		for _, a := range d.Addresses {
			addrs[a] = s.near(a)
		}
	}
	for _, x := range s.swept.wait() {
		if x.Live && s.near(x.Addr) {
			addrs[x.Addr] = true
		}
	}
	var targets []netip.AddrPort
	for a, ask := range addrs {
		for p := range doorPorts {
			if ask {
				targets = append(targets, netip.AddrPortFrom(a, p))
			}
		}
	}
	if len(targets) == 0 {
		return
	}
	slices.SortFunc(targets, netip.AddrPort.Compare)
	r := reach.Connect(ctx, targets, reach.ConnectOptions{})
	for _, p := range r.Ports {
		x := inventory.Reach{Addr: p.Addr(), Port: p.Port(), Sent: 1, Banner: doorPorts[p.Port()], Median: p.Delay}
		switch p.State {
		case reach.Open:
			x.Result, x.Got = inventory.Complete, 1
		case reach.Closed:
			x.Result = inventory.NotOffered
		default:
			x.Result = inventory.NoAnswer
		}
		ev.Reach = append(ev.Reach, x)
	}
	ev.Coverage = append(ev.Coverage, ended("management ports", "tcp", r.End, r.Why))
}

// names asks each attached network's gateway what it calls the addresses that answered.
func (s singles) names(ctx context.Context, ev *inventory.Evidence) {
	seen := s.swept.wait()
	for _, n := range s.plan.Networks {
		if !s.near(n.Gateway) {
			continue
		}
		var addrs []netip.Addr
		for _, x := range seen {
			if x.Live && n.Contains(x.Addr) && !slices.Contains(addrs, x.Addr) {
				addrs = append(addrs, x.Addr)
			}
		}
		if len(addrs) == 0 {
			continue
		}
		r := reach.Names(ctx, addrs, reach.NamesOptions{Server: netip.AddrPortFrom(n.Gateway, 53)})
		for _, a := range addrs {
			if names := r.Names[a]; len(names) > 0 {
				ev.Sightings = append(ev.Sightings, inventory.Sighting{Addr: a, Name: inventory.Clean(names[0]), Source: inventory.SourceDNS,
					By: n.Gateway.String(), Seen: time.Now()})
			}
		}
		c := ended(n.Name, inventory.SourceDNS, r.End, r.Why)
		if c.Result == inventory.NoAnswer || c.Result == inventory.Refused {
			c.Result, c.Why = inventory.NotOffered, "the gateway answers no DNS questions"
		}
		ev.Coverage = append(ev.Coverage, c)
	}
}

// dhcp sends one discover on each attached link, and takes no lease. A network
// that is only counted is not asked, and whoever offers its addresses is not kept.
func (s singles) dhcp(ctx context.Context, ev *inventory.Evidence) {
	var done []string
	for _, a := range s.at {
		n, ok := s.plan.NetworkNamed(a.Network)
		if !ok || n.Unknown == inventory.UnknownCount || !a.Up || slices.Contains(done, a.Interface) {
			continue
		}
		done = append(done, a.Interface)
		r := lease.Discover(ctx, a.Interface, lease.DiscoverOptions{})
		for _, o := range r.Offers {
			if of, ok := s.plan.NetworkOf(o.Addr); ok && of.Unknown == inventory.UnknownCount {
				continue
			}
			x := inventory.DHCPServer{Addr: o.Server, MAC: o.MAC, Offered: o.Addr, Network: a.Network}
			if len(o.Router) > 0 {
				x.Router = o.Router[0]
			}
			ev.DHCP = append(ev.DHCP, x)
		}
		ev.Coverage = append(ev.Coverage, ended(a.Network, "dhcp", r.End, r.Why))
	}
}
