package ternquay

import (
	"net/netip"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// Types of interfaces (IANAifType).
const (
	ethernet = 6
	wifi     = 71
	vlanIP   = 136
)

// What the radios tell of the air: objects below the number for documentation
// (RFC 5612), which the plan names.
const (
	airLevel = "1.3.6.1.4.1.32473.2.1.1" // dBm
	airRate  = "1.3.6.1.4.1.32473.2.1.2" // Mbit/s
)

var descriptions = map[string]string{
	router: "Fairlead Mole, router", bridge: "Fairlead Quoin, switch", wireless: "Fairlead Disc, access point", dish: "Fairlead Dish, radio",
	lens: "Fairlead Dome, camera", keeper: "Fairlead Log, recorder", ups: "Fairlead Ballast, UPS", server: "Tern Quay office server",
}

// rows are all that the box's agent tells; it came up at started.
func (w *world) rows(b *box, started time.Time) []simnet.Row {
	a := inventory.Agent{System: inventory.System{Name: b.name, Descr: descriptions[b.shows], ObjectID: "1.3.6.1.4.1.32473.1", Location: "Tern Quay", Services: 72, UpTime: new(uint32)}}
	var more []simnet.Row
	switch b.shows {
	case router:
		a.System.Services = 6
		more = w.routing(b, &a)
	case bridge:
		a.System.Services = 2
		w.bridging(b, &a)
	case wireless:
		a.Interfaces = []inventory.Interface{b.cable(), b.antenna()}
		a.Radio = []inventory.RadioInterface{{Index: 2, Channel: 11, TxPower: new(17.0)}}
	case dish:
		a.Interfaces = []inventory.Interface{b.cable(), b.antenna()}
		more = w.air(b)
	case ups:
		a.UPS = w.backup()
	case keeper:
		a.Storage = []inventory.Storage{{Index: 1, Descr: "/srv/video", Fixed: true, Size: 6e12, Used: 51e11}}
		a.Date = &inventory.AgentDate{Time: started.UTC().Add(-w.slow), Zone: true}
	case server:
		a.Storage = []inventory.Storage{{Index: 1, Descr: "/", Fixed: true, Size: 48e10, Used: 9e10}}
		a.Date = &inventory.AgentDate{Time: started.UTC(), Zone: true}
	}
	if a.Storage != nil {
		a.System.HostUp = new(uint32)
	}
	if len(a.Interfaces) == 0 {
		a.Interfaces = []inventory.Interface{b.cable()}
	}
	if b.shows != router {
		a.Addresses = []inventory.AgentAddress{{Addr: netip.MustParseAddr(b.addr), Prefix: subnets[b.vlan].Bits(), Index: a.Interfaces[0].Index, Origin: "manual", State: "preferred"}}
	}
	return append(mibrows.Agent(a), more...)
}

// cable is the one socket of a thing that does not bridge, antenna its other side.
func (b *box) cable() inventory.Interface {
	i := inventory.Interface{Index: 1, Name: "eth0", Descr: "eth0", Type: ethernet, MAC: b.hw(), AdminUp: new(true), OperUp: new(true), Connector: new(true), Speed: 1e8}
	if b.fast {
		i.Speed = 1e9
	}
	return i
}

func (b *box) antenna() inventory.Interface {
	m := b.macs()
	return inventory.Interface{Index: 2, Name: "air0", Descr: "air0", Type: wifi, MAC: m[len(m)-1], AdminUp: new(true), OperUp: new(true), Connector: new(false)}
}

// routing is the router: a bridge with a foot in each network, and its neighbour table.
func (w *world) routing(b *box, a *inventory.Agent) []simnet.Row {
	w.bridging(b, a)
	a.Interfaces = append(a.Interfaces, inventory.Interface{Index: 1, Name: "wan", Descr: "wan", Type: ethernet, MAC: b.hw(), AdminUp: new(true), OperUp: new(true), Connector: new(true), Speed: 1e9})
	for _, v := range a.VLANs {
		foot := inventory.IfIndex(100 + v.ID)
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: foot, Name: "to " + v.Name, Descr: "to " + v.Name, Type: vlanIP, MAC: b.hw(), AdminUp: new(true), OperUp: new(true), Connector: new(false)})
		net := subnets[v.ID]
		a.Addresses = append(a.Addresses, inventory.AgentAddress{Addr: net.Addr().Next(), Prefix: net.Bits(), Index: foot, Origin: "manual", State: "preferred"})
	}
	var known []inventory.Sighting
	for i := range w.boxes {
		if o := &w.boxes[i]; w.hears(o) {
			known = append(known, inventory.Sighting{MAC: o.hw(), Addr: netip.MustParseAddr(o.addr), Port: 100 + o.vlan})
		}
	}
	return mibrows.Neighbors(known...)
}

// air is what a radio tells of its link, while the other end is there.
func (w *world) air(b *box) []simnet.Row {
	level, far := int32(-51), w.box("pontoon-radio")
	if b == far {
		level, far = -52, w.box("quay-radio")
	}
	if !w.lit(far) {
		return nil
	}
	return []simnet.Row{{OID: airLevel + ".2", Value: simnet.Integer(level)}, {OID: airRate + ".2", Value: simnet.Integer(270)}}
}

// backup is the UPS, which carries the rack and what the switch there gives.
func (w *world) backup() *inventory.UPSReading {
	const rack, most = 96, 600 // watts
	load := rack + w.given(w.box("quay-switch"))
	return &inventory.UPSReading{Maker: "Fairlead", Model: "Ballast 600", Firmware: "1.4", Source: "normal", Battery: "normal", OnBattery: new(time.Duration(0)), Runtime: new(24 * time.Minute),
		Charge: new(100), Volts: new(27.3), Load: new(int(100 * load / most)), Output: new(poe.FromWatts(load)), Celsius: new(24.0)}
}
