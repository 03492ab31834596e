package inventory

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"
)

// describe fills in what each device is: name, maker, model, firmware, role.
func (a *assembler) describe() {
	hints := a.roleHints()
	agents := map[string]*agentView{}
	for _, v := range a.views {
		agents[a.devs[a.deviceOf(v)].Name] = v
	}
	for i, d := range a.devs {
		p := a.entry(i)
		if v := agents[d.Name]; v != nil {
			d.tellAgent(v)
		}
		if d.Maker == "" {
			a.makerOf(d)
		}
		d.Private = p == nil && len(d.MACs) > 0 && !slices.ContainsFunc(d.MACs, func(m MAC) bool { return !m.IsLocal() })
		a.networkOf(i)
		a.translated(i)
		d.NoAddress = p == nil && len(d.MACs) > 0 && !d.Self && !d.HasAddress()
		if d.Role == "" {
			d.Role, d.RoleWhy = hints.role(d, agents[d.Name])
		}
	}
	a.announced()
}

// tellAgent takes what the device's own agent says: the chassis of ENTITY-MIB
// first, then the system group.
func (d *SeenDevice) tellAgent(v *agentView) {
	d.witness(SourceSNMP)
	d.Hostname = cmp.Or(Clean(v.System.Name), d.Hostname)
	for _, e := range v.Entities {
		if e.Class != 3 { // chassis
			continue
		}
		if d.Maker == "" && e.Maker != "" {
			d.Maker, d.MakerBy = Clean(e.Maker), "entity"
		}
		d.Product = cmp.Or(d.Product, Clean(e.Model))
		d.Serial = cmp.Or(d.Serial, Clean(e.Serial))
		d.Firmware = cmp.Or(Clean(e.Software), Clean(e.Firmware), d.Firmware)
		break
	}
	if u := v.UPS; u != nil {
		d.Maker, d.Product = cmp.Or(d.Maker, Clean(u.Maker)), cmp.Or(d.Product, Clean(u.Model))
		d.Firmware = cmp.Or(d.Firmware, Clean(u.Firmware))
	}
	if d.Product == "" {
		d.Product = CleanTo(v.System.Descr, 40)
	}
	d.UpTime = uptimeOf(v)
}

func uptimeOf(v *agentView) *UpTime {
	if v.System.UpTime == nil {
		return nil
	}
	u := &UpTime{Ticks: *v.System.UpTime, Host: v.System.HostUp, Read: v.Read}
	if v.Engine.Known {
		boots, secs := v.Engine.Boots, v.Engine.Time
		u.Boots, u.Engine = &boots, &secs
	}
	u.Up, u.Basis = bestUp(*u)
	return u
}

func (a *assembler) makerOf(d *SeenDevice) {
	if a.maker == nil {
		return
	}
	for _, m := range d.MACs {
		if m.IsLocal() || m.IsMulticast() {
			continue
		}
		if name := a.maker(m); name != "" {
			d.Maker, d.MakerBy = name, "registry"
			return
		}
	}
}

// networkOf is the network of the device's first address, else that of the
// VLAN it was learned in, else the plan's.
func (a *assembler) networkOf(i int) {
	d := a.devs[i]
	for _, ip := range d.Addrs {
		if n, ok := a.plan.NetworkOf(ip); ok {
			d.Network = n.Name
			return
		}
	}
	if p := a.entry(i); p != nil {
		if n, ok := a.plan.NetworkOf(p.Address()); ok {
			d.Network = n.Name
		}
		return
	}
	for _, m := range d.MACs {
		if n := a.vlanNetwork(m); n != "" {
			d.Network = n
			return
		}
	}
}

// vlanNetwork is the planned network of the one VLAN that the tables learned an address in.
func (a *assembler) vlanNetwork(m MAC) string {
	if a.vlanOf == nil {
		a.vlanOf = map[MAC]int{}
		for _, v := range a.views {
			for _, r := range v.FDB {
				if r.VLAN == 0 || r.Self {
					continue
				}
				if was, ok := a.vlanOf[r.MAC]; ok && was != r.VLAN {
					a.vlanOf[r.MAC] = -1
					continue
				}
				a.vlanOf[r.MAC] = r.VLAN
			}
		}
	}
	vlan := a.vlanOf[m]
	for _, n := range a.plan.Networks {
		if vlan > 0 && n.VLAN == vlan {
			return n.Name
		}
	}
	return ""
}

// manyAddresses: a radio with so many addresses on one MAC translates for those behind it.
const manyAddresses = 3

func (a *assembler) translated(i int) {
	d := a.devs[i]
	v4 := 0
	for _, ip := range d.Addrs {
		if ip.Is4() {
			v4++
		}
	}
	if p := a.entry(i); p != nil && p.Role == Radio && v4 > max(manyAddresses-1, len(p.Addresses)) {
		d.Notes = append(d.Notes, fmt.Sprintf("address translated by radio: %d addresses on one MAC", v4))
	}
}

// roleHints is what was said of devices, by their addresses.
type roleHints struct {
	services  map[netip.Addr][]Announced
	bySpeaker map[MAC][]Announced
	caps      map[MAC][]string
}

func (a *assembler) roleHints() roleHints {
	h := roleHints{map[netip.Addr][]Announced{}, map[MAC][]Announced{}, map[MAC][]string{}}
	for _, s := range a.ev.Services {
		if s.MAC.IsValid() {
			h.bySpeaker[s.MAC] = append(h.bySpeaker[s.MAC], s)
		} else if s.Addr.IsValid() {
			h.services[s.Addr] = append(h.services[s.Addr], s)
		}
	}
	for _, v := range a.views {
		for k := range v.Neighbors {
			n := &v.Neighbors[k]
			for _, m := range []MAC{n.ChassisMAC, n.PortMAC} {
				if m.IsValid() {
					h.caps[m] = n.Capabilities
				}
			}
		}
	}
	return h
}

// role judges an unknown device by what it says and offers. Each reason is
// kept, and the plan is never overridden.
func (h roleHints) role(d *SeenDevice, v *agentView) (Role, []string) {
	var role Role
	var why []string
	say := func(r Role, reason string) {
		if role == "" {
			role = r
		}
		if role == r && !slices.Contains(why, reason) {
			why = append(why, reason)
		}
	}
	if v != nil {
		roleOfAgent(v, say)
	}
	for _, m := range d.MACs {
		for _, s := range h.bySpeaker[m] {
			roleOfService(s, say)
		}
		roleOfCapabilities(h.caps[m], say)
	}
	for _, ip := range slices.Concat(d.Addrs, d.Foreign) {
		for _, s := range h.services[ip] {
			roleOfService(s, say)
		}
	}
	return role, why
}

// The layers whose services an agent offers, in sysServices: layer L adds 2^(L-1)
// (RFC 3418). It is often wrong, and a switch that routes sets both of the first two.
const (
	layerBridge      = 1 << (2 - 1)
	layerInternet    = 1 << (3 - 1)
	layerApplication = 1 << (7 - 1)
)

// bridgesFrom is how many bridge ports make a switch: with two a camera, an access
// point or a radio passes frames on too.
const bridgesFrom = 3

// roleOfAgent goes by what the agent offers before what it says of itself.
func roleOfAgent(v *agentView, say func(Role, string)) {
	layers, forwards := v.System.Services, v.System.Forwards
	has := func(layer int) bool { return layers&layer != 0 }
	bridges := len(v.Bridge) >= bridgesFrom
	switch {
	case v.UPS != nil:
		say(UPS, "answers UPS-MIB")
	case v.Printer:
		say(Printer, "answers Printer-MIB")
	case len(v.PSEPorts) > 0:
		say(Switch, "feeds power over Ethernet")
	case bridges && (has(layerBridge) || !has(layerInternet)):
		say(Switch, fmt.Sprintf("has a bridge with %d ports", len(v.Bridge)))
		if has(layerInternet) && forwards != nil && *forwards {
			say(Switch, "routes as well")
		}
	case forwards != nil && !*forwards, !has(layerInternet):
		// It says itself that it passes no packets on: a host, whatever its layers.
	case forwards != nil:
		say(Router, "says that it forwards IP packets")
		if bridges {
			say(Router, fmt.Sprintf("has a bridge with %d ports as well", len(v.Bridge)))
		}
	case !has(layerApplication) && !has(layerBridge):
		say(Router, "sysServices says router")
	}
}

func roleOfService(s Announced, say func(Role, string)) {
	t := strings.ToLower(s.Type)
	for _, k := range []struct {
		part string
		role Role
	}{
		{"networkvideotransmitter", Camera}, {"networkvideorecorder", Recorder}, {"_ipp", Printer}, {"_printer", Printer}, {"_pdl-datastream", Printer},
		{"_airplay", Television}, {"_googlecast", Television}, {"mediarenderer", Television}, {"_rtsp", Camera},
	} {
		if strings.Contains(t, k.part) {
			say(k.role, "announces "+Clean(s.Type))
			return
		}
	}
}

func roleOfCapabilities(caps []string, say func(Role, string)) {
	has := func(c string) bool { return slices.Contains(caps, c) }
	switch {
	case has("wlanAccessPoint"):
		say(AccessPoint, "LLDP says wlanAccessPoint")
	case has("telephone"):
		say(Phone, "LLDP says telephone")
	case has("router"):
		say(Router, "LLDP says router")
	case has("bridge"):
		say(Switch, "LLDP says bridge")
	}
}

// announced takes names and makers from announcements, for what nothing better told.
func (a *assembler) announced() {
	byMAC, byAddr := map[MAC]*SeenDevice{}, map[netip.Addr]*SeenDevice{}
	for _, d := range a.devs {
		for _, m := range d.MACs {
			byMAC[m] = d
		}
		for _, ip := range slices.Concat(d.Addrs, d.Foreign) {
			if byAddr[ip] == nil {
				byAddr[ip] = d
			}
		}
	}
	for _, s := range a.ev.Services {
		d := byMAC[s.MAC]
		if d == nil || !s.MAC.IsValid() {
			d = byAddr[s.Addr]
		}
		if d == nil {
			continue
		}
		d.witness(s.Source)
		d.Hostname = cmp.Or(d.Hostname, Clean(s.Name))
		if s.Maker != "" && (d.Maker == "" || d.MakerBy == "registry") {
			d.Maker, d.MakerBy = Clean(s.Maker), s.Source
		}
		d.Product = cmp.Or(d.Product, Clean(s.Model))
	}
}
