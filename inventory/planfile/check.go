package planfile

import (
	"net/netip"
	"slices"
	"strconv"
	"strings"

	"boundwalk/inventory"
)

// checkNetwork holds a network's addresses against its subnets.
func (r *reader) checkNetwork(n *inventory.Network, s source) {
	if n.Gateway.IsValid() && n.Subnet.IsValid() && !n.Contains(n.Gateway) {
		r.faultAt(s, "gateway", "the gateway %s lies outside of %s", n.Gateway, n.Subnet)
	}
	for _, d := range n.Dynamic {
		if n.Subnet.IsValid() && (!n.Contains(d.From) || !n.Contains(d.To)) {
			r.faultAt(s, "dynamic", "the range %s lies outside of %s", d, n.Subnet)
		}
	}
}

// checkAccess holds an access's keys against its version.
func (r *reader) checkAccess(a *inventory.Access, s source) {
	has := func(keys ...string) string {
		for _, k := range keys {
			if s.node(k) != s.name {
				return k
			}
		}
		return ""
	}
	if a.Version == "" {
		return // told already
	}
	if k := has("context"); k != "" && a.Contexts == inventory.ContextsPerVLAN {
		r.faultAt(s, "contexts", "an access to one context leads to no others: leave out context, or say contexts: one")
	}
	if a.Version != "v3" {
		if k := has("user", "auth", "privacy", "secrets", "context"); k != "" {
			r.faultAt(s, k, "%s has no %s: that belongs to v3", a.Version, k)
		}
		if has("community") == "" {
			r.fault(s.name, "%s needs the key \"community\": where it lies, such as file:yard.community", a.Version)
		}
		return
	}
	if k := has("community"); k != "" {
		r.faultAt(s, k, "v3 has no community: it has a user and secrets")
	}
	if a.User == "" && has("user") == "" {
		r.fault(s.name, "v3 needs the key \"user\"")
	}
	if a.Auth == "" && has("auth") == "" {
		a.Auth = "none"
	}
	if a.Privacy == "" && has("privacy") == "" {
		a.Privacy = "none"
	}
	switch {
	case a.Auth == "none" && a.Privacy != "none" && a.Privacy != "":
		r.faultAt(s, "privacy", "privacy needs authentication: name an auth protocol too")
	case a.Auth != "none" && a.Auth != "" && a.AuthKey == "":
		r.faultAt(s, "secrets", "auth %s needs its secret: secrets: {auth: file:NAME}", a.Auth)
	case a.Privacy != "none" && a.Privacy != "" && a.PrivKey == "":
		r.faultAt(s, "secrets", "privacy %s needs its secret: secrets: {privacy: file:NAME}", a.Privacy)
	case a.Auth == "none" && a.AuthKey != "" || a.Privacy == "none" && a.PrivKey != "":
		r.faultAt(s, "secrets", "a secret without its protocol: name auth and privacy beside it")
	}
}

// checker holds the parts of a plan against one another.
type checker struct {
	*reader
	plan  *inventory.Plan
	index map[string]int // device name -> position
}

// check reports names that lead nowhere, what stands twice, and loops.
func (r *reader) check(p *inventory.Plan) {
	c := checker{reader: r, plan: p, index: make(map[string]int, len(p.Devices))}
	for i := range p.Devices {
		c.index[p.Devices[i].Name] = i
	}
	r.within("networks", c.overlaps)
	r.within("devices", func() {
		c.twice()
		for i := range p.Devices {
			r.within(p.Devices[i].Name, func() { c.references(i) })
		}
		c.ports()
		c.loops()
	})
	r.within("radio_links", c.ends)
}

const maxNetworks = 1000

// overlaps reports subnets that share addresses: an address would have two networks.
func (c checker) overlaps() {
	nets := c.plan.Networks
	if len(nets) > maxNetworks {
		c.fault(c.nets[maxNetworks].name, "more than %d networks", maxNetworks)
		return
	}
	for i := range nets {
		all := append([]netip.Prefix{nets[i].Subnet}, nets[i].Subnet6...)
		for j := range i {
			for _, a := range all {
				if slices.ContainsFunc(append([]netip.Prefix{nets[j].Subnet}, nets[j].Subnet6...), a.Overlaps) {
					c.fault(c.nets[i].name, "%s overlaps the network %s in line %d", a, quoted(nets[j].Name), c.nets[j].name.Line)
				}
			}
		}
	}
}

// twice reports addresses and MACs that two devices have.
func (c checker) twice() {
	macs := map[inventory.MAC]int{}
	addrs := map[netip.Addr]int{}
	agents := map[netip.AddrPort]int{}
	for i := range c.plan.Devices {
		d := &c.plan.Devices[i]
		c.within(d.Name, func() {
			for _, m := range d.MACs {
				first(c, macs, m, i, "mac", "the MAC address "+m.String())
			}
			for _, a := range d.Addresses {
				first(c, addrs, a, i, "address", "the address "+a.String())
			}
			if d.Agent.IsValid() {
				first(c, agents, d.Agent, i, "agent", "the agent "+d.Agent.String())
			}
		})
	}
}

// first notes that device i has the thing, or reports who had it before.
func first[K comparable](c checker, seen map[K]int, k K, i int, key, what string) {
	if j, taken := seen[k]; taken {
		c.faultAt(c.devices[i], key, "%s is %s's already, in line %d", what, quoted(c.plan.Devices[j].Name), c.devices[j].name.Line)
		return
	}
	seen[k] = i
}

// references reports names in device i that lead nowhere.
func (c checker) references(i int) {
	d, s := &c.plan.Devices[i], c.devices[i]
	if _, ok := c.reader.models[d.Model]; d.Model != "" && !ok {
		noSuch(c, s, "model", "model", d.Model, c.plan.Models, func(m *device) string { return m.Name })
	}
	if _, ok := c.plan.AccessNamed(d.Access); d.Access != "" && !ok {
		noSuch(c, s, "access", "access", d.Access, c.plan.Access, func(a *inventory.Access) string { return a.Name })
	}
	if d.At.Device != "" {
		c.place(i)
	}
	for _, v := range d.Via {
		if j, ok := c.device(s, "via", v); ok && c.plan.Devices[j].Role != inventory.Injector {
			c.faultAt(s, "via", "%s is no injector: between a device and where it hangs stand injectors only", quoted(v))
		}
	}
	if d.Mains != "" && d.Mains != "mains" {
		if j, ok := c.device(s, "mains", d.Mains); ok && c.plan.Devices[j].Role != inventory.UPS {
			c.faultAt(s, "mains", "%s is no UPS: write a UPS of the plan, or mains", quoted(d.Mains))
		}
	}
	if d.Recorder != "" {
		if j, ok := c.device(s, "recorder", d.Recorder); ok {
			if role := c.plan.Devices[j].Role; role != inventory.Recorder && role != inventory.Server {
				c.faultAt(s, "recorder", "%s is no recorder", quoted(d.Recorder))
			}
		}
	}
	for _, list := range []struct {
		key   string
		ports []string
	}{{"spare", d.Spare}, {"guest", d.Guest}} {
		for _, p := range list.ports {
			c.port(s, list.key, d, p)
		}
	}
	for _, p := range d.PortPlans {
		c.port(s, "ports", d, p.Port)
	}
	if d.Port != "" {
		c.port(s, "port", d, d.Port)
	}
}

// place checks where device i hangs.
func (c checker) place(i int) {
	d, s := &c.plan.Devices[i], c.devices[i]
	j, ok := c.device(s, "at", d.At.Device)
	switch {
	case !ok:
	case j == i:
		c.faultAt(s, "at", "%s hangs on itself", quoted(d.Name))
	case d.At.Port != "":
		c.port(s, "at", &c.plan.Devices[j], d.At.Port)
	}
}

// device finds a device by its name, or reports that there is none.
func (c checker) device(s source, key, name string) (int, bool) {
	i, ok := c.index[name]
	if !ok {
		noSuch(c, s, key, "device", name, c.plan.Devices, func(d *device) string { return d.Name })
	}
	return i, ok
}

// noSuch reports a name that leads nowhere, with the nearest one while there are
// few problems: in a plan that is wrong throughout the search costs too much.
func noSuch[T any](c checker, s source, key, what, name string, list []T, nameOf func(*T) string) {
	if len(c.problems) > 50 {
		c.faultAt(s, key, "the plan has no %s %s", what, quoted(name))
		return
	}
	names := make([]string, len(list))
	for i := range list {
		names[i] = nameOf(&list[i])
	}
	switch near := nearest(name, names); {
	case near != "":
		c.faultAt(s, key, "the plan has no %s %s: did you mean %s?", what, quoted(name), near)
	case len(names) == 0:
		c.faultAt(s, key, "the plan has no %s %s: it has none at all", what, quoted(name))
	case len(names) <= 12:
		c.faultAt(s, key, "the plan has no %s %s (it has %s)", what, quoted(name), strings.Join(names, ", "))
	default:
		c.faultAt(s, key, "the plan has no %s %s", what, quoted(name))
	}
}

// port reports a port number that the device does not have. A label that is no
// number may be right: the plan need not list them.
func (c checker) port(s source, key string, d *device, label string) {
	n, err := strconv.Atoi(label)
	if err != nil || d.Ports == 0 {
		return
	}
	if n < 1 || n > d.Ports || !wholeNumber.MatchString(label) {
		c.faultAt(s, key, "%s has no port %s (it has 1 to %d)", quoted(d.Name), quoted(label), d.Ports)
	}
}

// ports reports a port that two devices hang on. Injectors between a device and
// its port are part of one chain, so they may name it too.
func (c checker) ports() {
	type place struct{ device, port string }
	seen := map[place]int{}
	for i := range c.plan.Devices {
		d := &c.plan.Devices[i]
		own := place{d.Name, inventory.PortName(d.Port)}
		for _, p := range []place{{d.At.Device, inventory.PortName(d.At.Port)}, own} {
			if p.device == "" || p.port == "" {
				continue
			}
			j, taken := seen[p]
			switch {
			case !taken:
				seen[p] = i
			case slices.Contains(d.Via, c.plan.Devices[j].Name), slices.Contains(c.plan.Devices[j].Via, d.Name):
			default:
				key := "at"
				if p == own {
					key = "port"
				}
				c.within(d.Name, func() {
					c.faultAt(c.devices[i], key, "port %s of %s is %s's already, in line %d: two devices share a port only with a switch between, or as an injector and what it feeds",
						quoted(p.port), quoted(p.device), quoted(c.plan.Devices[j].Name), c.devices[j].name.Line)
				})
			}
		}
	}
}

// loops reports devices that hang on one another in a ring.
func (c checker) loops() {
	const (
		unseen = iota
		open
		done
	)
	state := make([]int, len(c.plan.Devices))
	var walk func(i int, trail []int)
	walk = func(i int, trail []int) {
		state[i] = open
		trail = append(trail, i)
		for _, up := range c.above(i) {
			switch {
			case state[up] == unseen && len(trail) < maxChain:
				walk(up, trail)
			case state[up] == open && up != i:
				c.ring(trail[slices.Index(trail, up):])
			}
		}
		state[i] = done
	}
	for i := range state {
		if state[i] == unseen {
			walk(i, nil)
		}
	}
}

// maxChain bounds how deep devices hang on one another; a chain that long is no site.
const maxChain = 10_000

// above is what device i hangs on: its place and the injectors on the way.
func (c checker) above(i int) []int {
	d := &c.plan.Devices[i]
	var out []int
	for _, name := range append([]string{d.At.Device}, d.Via...) {
		if j, ok := c.index[name]; ok && name != "" {
			out = append(out, j)
		}
	}
	return out
}

func (c checker) ring(trail []int) {
	names := make([]string, 0, len(trail)+1)
	for _, i := range trail {
		names = append(names, c.plan.Devices[i].Name)
	}
	names = append(names, names[0])
	first := slices.Min(trail)
	c.within(c.plan.Devices[first].Name, func() {
		c.faultAt(c.devices[first], "at", "devices hang on one another in a ring: %s", strings.Join(names, " on "))
	})
}

// ends reports radio links whose ends are not there.
func (c checker) ends() {
	for i, l := range c.plan.Links {
		c.within(l.Name, func() {
			for _, end := range l.Between {
				if end != "" {
					c.device(c.links[i], "between", end)
				}
			}
			if l.Between[0] != "" && l.Between[0] == l.Between[1] {
				c.faultAt(c.links[i], "between", "a radio link has two ends: %s stands there twice", quoted(l.Between[0]))
			}
		})
	}
}
