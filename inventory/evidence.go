package inventory

import (
	"net/netip"
	"time"
)

// Evidence is what the sources saw in one run: facts with their source and
// time, beside the coverage. Sources do not interpret. Text in it is cleaned.
type Evidence struct {
	Started   time.Time
	Finished  time.Time
	Aborted   bool // the run ended before its time: never to be compared
	Coverage  CoverageList
	Sightings []Sighting
	Agents    []Agent
	Services  []Announced
	Reach     []Reach
	Clocks    []Clock
	DHCP      []DHCPServer
	Logins    []LoginResult
	Attached  []Attached // this machine's own interfaces in the plan's networks
	Capped    []string   // what was too much to keep, in words
}

// Attached is an interface of this machine inside a planned network.
type Attached struct {
	Network   string
	Interface string
	MAC       MAC
	Addr      netip.Addr
	Up        bool
}

// Sources of a sighting.
const (
	SourceARP       = "arp"            // answered our request
	SourceListen    = "arp-listen"     // heard without asking
	SourceND        = "ndp"            // IPv6 neighbour discovery
	SourceKernel    = "kernel"         // this machine's neighbour table
	SourceNeighbors = "neighbor-table" // an agent's ipNetToMedia or ipNetToPhysical
	SourceLease     = "lease"
	SourceMDNS      = "mdns"
	SourceWSD       = "ws-discovery"
	SourceSSDP      = "ssdp"
	SourceDNS       = "dns"
	SourceFDB       = "fdb"
	SourceLLDP      = "lldp"
	SourceSNMP      = "snmp"
)

// Sighting is one fact about an address: that a MAC and an IP belong together,
// or one of them with a name. A zero MAC or Addr is unknown.
type Sighting struct {
	MAC    MAC
	Addr   netip.Addr
	Name   string // as the source calls it; not to be trusted
	Source string
	By     string // who said it: an interface, or the device whose table it is
	Port   int    // the ifIndex in that table; 0: none
	Seen   time.Time
	Tries  []int // which of our tries it answered
	Live   bool  // it answered or was heard now: a table's row alone is no presence
	Probe  bool  // an ARP probe with sender 0.0.0.0: the MAC is there, without address
}

// Announced is a service that a device announced or answered for.
type Announced struct {
	Addr   netip.Addr
	MAC    MAC
	Source string
	Type   string // such as _ipp._tcp, dn:NetworkVideoTransmitter, urn:…
	Name   string
	Maker  string
	Model  string
	Port   uint16
}

// Reach is a try to reach a device: an echo or a TCP port.
type Reach struct {
	Addr    netip.Addr
	Port    uint16 // 0: ICMP echo
	Result  Result
	Sent    int
	Got     int
	Median  time.Duration
	Longest time.Duration
	Banner  string // what kind of door: telnet, http, https, rtsp, ssh; empty: unknown
}

// Clock is a device's own time beside ours.
type Clock struct {
	Addr   netip.Addr
	Device string
	Source string        // sntp, http, onvif, hrSystemDate
	Offset time.Duration // device minus ours
	Sure   time.Duration // how exact the reading is: half the time it took, plus its resolution
	Read   time.Time
}

// DHCPServer is a server that answered a discover.
type DHCPServer struct {
	Addr    netip.Addr
	MAC     MAC
	Offered netip.Addr
	Router  netip.Addr
	Network string // where it was heard
}

// Outcomes of a login check.
const (
	LoginAccepted   = "accepted"
	LoginRefused    = "refused"
	LoginCannotTell = "cannot-tell"
	LoginNotChecked = "not-checked"
	LoginLocked     = "locked"
	LoginUnset      = "not-initialised"
	LoginCommunity  = "community-accepted"
)

// LoginResult is the outcome of one check of a factory account or a default community.
type LoginResult struct {
	Device      string
	Entry       string // which entry of the plan, never the secret
	Over        string
	Outcome     string
	Why         string
	When        time.Time
	Fingerprint string // SHA-256 of the certificate or host key; empty: none seen
}
