package ternquay

import "time"

// What an agent shows. A thing without a kind of agent has none, and shows only
// by its address in the tables of others.
const (
	router   = "router"
	bridge   = "switch"
	wireless = "access point"
	dish     = "radio"
	lens     = "camera"
	keeper   = "recorder"
	ups      = "ups"
	server   = "server"
)

// The VLANs of the site.
const (
	yard    = 10
	cameras = 20
	berths  = 30
)

const (
	day  = 24 * time.Hour
	mega = 1e6
)

// box is a thing with a cable, or with a radio in its stead.
type box struct {
	name   string
	mac    string
	air    string // a second address of its own, towards the air
	addr   string
	at     string // the device and port that it hangs on; empty: the root of the tree
	vlan   int    // its own, untagged at the port unless the port says otherwise
	port   string // its own port that leads there, where it has several
	shows  string // by its agent; empty: it has none
	up     time.Duration
	fast   bool    // its link has 1 Gbit/s, else 100 Mbit/s
	class  int     // of power that it shows; 0: it takes none from the port
	watts  float64 // drawn from the port
	asks   float64 // watts at its own end, agreed by LLDP; 0: it says none
	by     string  // in which of LLDP's ways: dot3-v2, med
	stream float64 // bit/s to the recorder
	off    bool    // it is dark, and so is all behind it
}

// asPlanned is the site as it was built. Names and addresses are the plan's.
var asPlanned = []box{
	{name: "quay-router", mac: "00:00:5e:00:53:01", addr: "203.0.113.1", vlan: yard, shows: router, up: 63 * day},
	{name: "quay-switch", mac: "00:00:5e:00:53:02", addr: "203.0.113.2", vlan: yard, at: "quay-router/2", port: "9", fast: true, shows: bridge, up: 63 * day},
	{name: "shed-switch", mac: "00:00:5e:00:53:03", addr: "203.0.113.3", vlan: yard, at: "quay-router/3", port: "10", fast: true, shows: bridge, up: 41 * day},
	{name: "rack-ups", mac: "00:00:5e:00:53:09", addr: "203.0.113.9", vlan: yard, at: "quay-router/4", shows: ups, up: 210 * day},

	// On the switch in the office, which measures the power of each port.
	{name: "recorder", mac: "00:00:5e:00:53:10", addr: "203.0.113.130", vlan: cameras, at: "quay-switch/1", fast: true, shows: keeper, up: 63 * day},
	{name: "office-server", mac: "00:00:5e:00:53:11", addr: "203.0.113.10", vlan: yard, at: "quay-switch/2", fast: true, shows: server, up: 12 * day},
	{name: "office-printer", mac: "00:00:5e:00:53:12", addr: "203.0.113.12", vlan: yard, at: "quay-switch/3"},
	{name: "office-ap", mac: "00:00:5e:00:53:21", air: "02:00:5e:00:53:21", addr: "203.0.113.14", vlan: yard, at: "quay-switch/4", fast: true, class: 4, watts: 9.31, shows: wireless, up: 63 * day},
	{name: "slip-cam", mac: "00:00:5e:00:53:31", addr: "203.0.113.131", vlan: cameras, at: "quay-switch/5", class: 3, watts: 5.42, stream: 4 * mega, shows: lens, up: 63 * day},
	{name: "gate-cam", mac: "00:00:5e:00:53:32", addr: "203.0.113.132", vlan: cameras, at: "quay-switch/6", class: 3, watts: 5.18, stream: 4 * mega},
	{name: "quay-radio", mac: "00:00:5e:00:53:51", air: "02:00:5e:00:53:51", addr: "203.0.113.20", vlan: yard, at: "quay-switch/8", fast: true, shows: dish, up: 63 * day},

	// Over the water. The little switch and its injector say nothing themselves.
	{name: "pontoon-radio", mac: "00:00:5e:00:53:52", addr: "203.0.113.21", vlan: yard, at: "quay-radio/air", shows: dish, up: 27 * day},
	{name: "pontoon-switch", at: "pontoon-radio/lan"},
	{name: "winter-cam", mac: "00:00:5e:00:53:35", addr: "203.0.113.133", vlan: cameras, at: "pontoon-switch/2", stream: 3 * mega},
	{name: "basin-cam", mac: "00:00:5e:00:53:36", addr: "203.0.113.136", vlan: cameras, at: "pontoon-switch/3", stream: 3 * mega},

	// On the switch in the shed, which tells what was agreed by LLDP where a device
	// speaks it, else the class alone.
	{name: "shed-ap", mac: "00:00:5e:00:53:22", air: "02:00:5e:00:53:22", addr: "203.0.113.15", vlan: yard, at: "shed-switch/1", fast: true, class: 4, watts: 9.4, asks: 12.5, by: "dot3-v2", shows: wireless, up: 41 * day},
	{name: "shed-cam", mac: "00:00:5e:00:53:33", addr: "203.0.113.134", vlan: cameras, at: "shed-switch/2", class: 3, watts: 5.4, asks: 9.0, by: "med", stream: 4 * mega, shows: lens, up: 41 * day},
	{name: "hoist-cam", mac: "00:00:5e:00:53:34", addr: "203.0.113.135", vlan: cameras, at: "shed-switch/3", class: 3, watts: 5.2, stream: 4 * mega},
	{name: "berth-ap", mac: "00:00:5e:00:53:23", air: "02:00:5e:00:53:23", addr: "203.0.113.16", vlan: yard, at: "shed-switch/4", fast: true, class: 4, watts: 9.8, asks: 13.0, by: "dot3-v2", shows: wireless, up: 41 * day},
	{name: "shed-door", mac: "00:00:5e:00:53:41", addr: "203.0.113.50", vlan: yard, at: "shed-switch/5", class: 1, watts: 2.1},
	{name: "frost-sensor", mac: "00:00:5e:00:53:42", addr: "203.0.113.51", vlan: yard, at: "shed-switch/6", class: 1, watts: 1.0},
	{name: "loft-switch", vlan: cameras, at: "shed-switch/7", fast: true},
	{name: "loft-cam", mac: "00:00:5e:00:53:37", addr: "203.0.113.137", vlan: cameras, at: "loft-switch/2", stream: 2 * mega},
	{name: "davit-cam", mac: "00:00:5e:00:53:38", addr: "203.0.113.138", vlan: cameras, at: "loft-switch/3", stream: 2 * mega},

	// What comes by air.
	{name: "yard-phone", mac: "02:00:5e:00:53:61", addr: "203.0.113.71", vlan: yard, at: "office-ap/air"},
	{name: "yard-tablet", mac: "02:00:5e:00:53:62", addr: "203.0.113.72", vlan: yard, at: "shed-ap/air"},
	{name: "phone of berth 3", mac: "02:00:5e:00:53:a1", addr: "198.51.100.21", vlan: berths, at: "berth-ap/air"},
	{name: "phone of berth 4", mac: "02:00:5e:00:53:a2", addr: "198.51.100.22", vlan: berths, at: "berth-ap/air"},
	{name: "tablet of berth 4", mac: "02:00:5e:00:53:a3", addr: "198.51.100.23", vlan: berths, at: "berth-ap/air"},
	{name: "phone of berth 9", mac: "02:00:5e:00:53:a4", addr: "198.51.100.24", vlan: berths, at: "berth-ap/air"},
}

// panel is the ports of a bridge that can be asked, and how it numbers them: five
// ways, none of which need agree. Port 1 is port 1 of the bridge as well.
type panel struct {
	ports  int
	name   string        // of its interfaces, before the number
	index  int           // ifIndex of port 1
	lldp   int           // number of port 1 in the LLDP agent
	entity int           // entPhysicalIndex of port 1; 0: no such table
	vlan   map[int]int   // untagged, by port; of the others: yard
	tagged map[int][]int // by port
	feeds  int           // ports from 1 that give power; 0: none
	dark   []int         // of these, the ones switched off in the settings
	budget float64       // watts
	exact  bool          // it measures what each port gives
}

// asBuilt are the bridges of the site.
var asBuilt = map[string]panel{
	"quay-router": {ports: 4, name: "lan", index: 2, lldp: 2,
		tagged: map[int][]int{2: {cameras, berths}, 3: {cameras, berths}}},
	"quay-switch": {ports: 10, name: "gi", index: 10101, lldp: 101, entity: 1001, feeds: 8, dark: []int{8}, budget: 130, exact: true,
		vlan:   map[int]int{1: cameras, 5: cameras, 6: cameras, 7: cameras, 8: cameras, 10: cameras},
		tagged: map[int][]int{4: {berths}, 8: {yard}, 9: {cameras, berths}}},
	"shed-switch": {ports: 10, name: "Port ", index: 1, lldp: 1, feeds: 8, budget: 80,
		vlan:   map[int]int{2: cameras, 3: cameras, 7: cameras, 8: cameras},
		tagged: map[int][]int{1: {berths}, 4: {berths}, 10: {cameras, berths}}},
}
