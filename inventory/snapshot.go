package inventory

import (
	"net/netip"
	"slices"
	"time"
)

// Snapshot is what the evidence of one run adds up to. The logbook keeps it as
// JSON, so that later runs and people can look back; every figure in it has its
// basis. Slices are sorted as their comments say.
type Snapshot struct {
	Started  time.Time      `json:"started"`
	Finished time.Time      `json:"finished"`
	Aborted  bool           `json:"aborted,omitzero"`
	Coverage CoverageList   `json:"coverage"`
	Devices  []SeenDevice   `json:"devices"`  // planned ones in the plan's order, then others by place and MAC
	Ports    []PortState    `json:"ports"`    // by switch in the plan's order, then in the agent's order
	Supplies []SupplyState  `json:"supplies"` // by switch in the plan's order, then by number
	Edges    []Edge         `json:"edges"`    // the tree: who hangs on which port
	Radios   []RadioState   `json:"radios,omitempty"`
	UPSes    []UPSState     `json:"upses,omitempty"`
	Disks    []DiskState    `json:"disks,omitempty"`
	Clocks   []ClockState   `json:"clocks,omitempty"`
	Doors    []DoorState    `json:"doors,omitempty"` // TCP ports of devices that took a connection
	Networks []NetworkState `json:"networks"`        // in the plan's order
	Agents   []AgentState   `json:"agents"`
	Shared   []SharedAddr   `json:"shared,omitempty"` // one address, several MACs
	Proxies  []ProxyARP     `json:"proxies,omitempty"`
	DHCP     []DHCPServer   `json:"dhcp,omitempty"`
	Logins   []LoginResult  `json:"logins,omitempty"`
	Capped   []string       `json:"capped,omitempty"`
}

// Basis says how a figure or a fact is known.
type Basis string

// The bases of watts, best first, and those of places and names.
const (
	Measured   Basis = "measured"
	Negotiated Basis = "negotiated"
	ByClass    Basis = "class" // a ceiling, never a draw
	Planned    Basis = "planned"
	Unknown    Basis = "" // not known

	ByLLDP     Basis = "lldp"
	ByFDB      Basis = "fdb"
	Remembered Basis = "remembered" // from an earlier run
	Inferred   Basis = "inferred"
)

// SeenDevice is one device, planned or not.
type SeenDevice struct {
	Name      string       `json:"name"`    // the plan's; else made from what it calls itself or its address
	Planned   bool         `json:"planned"` // its name is the plan's
	Role      Role         `json:"role,omitzero"`
	RoleWhy   []string     `json:"role_why,omitempty"` // reasons of a guess; empty where the plan says it
	MACs      []MAC        `json:"macs,omitempty"`
	Addrs     []netip.Addr `json:"addresses,omitempty"`
	Hostname  string       `json:"hostname,omitzero"` // as it calls itself, cleaned
	Maker     string       `json:"maker,omitzero"`
	MakerBy   string       `json:"maker_by,omitzero"` // registry, entity, lldp-med, …
	Product   string       `json:"model,omitzero"`
	Serial    string       `json:"serial,omitzero"`
	Firmware  string       `json:"firmware,omitzero"`
	Place     Place        `json:"place,omitzero"`
	Network   string       `json:"network,omitzero"`
	Presence  Presence     `json:"presence"`
	Witnesses []string     `json:"witnesses,omitempty"` // sources that saw it live
	UpTime    *UpTime      `json:"uptime,omitzero"`
	Notes     []string     `json:"notes,omitempty"`     // such as "address translated by radio"
	Private   bool         `json:"private,omitzero"`    // known only by a locally administered MAC
	Away      bool         `json:"away,omitzero"`       // the plan means it to be absent now
	Self      bool         `json:"self,omitzero"`       // this machine
	BehindAP  bool         `json:"behind_ap,omitzero"`  // on a port that leads to an access point or radio
	NoAddress bool         `json:"no_address,omitzero"` // a MAC on a port, without address in its network
	Foreign   []netip.Addr `json:"foreign,omitempty"`   // addresses heard of it that lie in no planned network
	Claimed   []MAC        `json:"claimed,omitempty"`   // MACs found at its address or port that are not its planned ones
}

// HasAddress reports whether the device has an address of a network: more than
// the link-local one that every IPv6 host makes itself.
func (d *SeenDevice) HasAddress() bool { return slices.ContainsFunc(d.Addrs, isOfNetwork) }

func isOfNetwork(ip netip.Addr) bool { return !(ip.Is6() && ip.IsLinkLocalUnicast()) }

// Presence is whether a device is there.
type Presence string

// The presences. NotLooked is no absence.
const (
	Present   Presence = "present"
	Absent    Presence = "absent" // it was looked for where it should be, completely
	NotLooked Presence = "not-looked"
	Unseeable Presence = "unseeable" // by its nature it never shows: an injector
)

// Place is where a device hangs.
type Place struct {
	Switch string    `json:"switch,omitzero"` // device name
	Port   string    `json:"port,omitzero"`   // the plan's label, else ifName
	Basis  Basis     `json:"basis,omitzero"`
	Among  int       `json:"among,omitzero"` // how many share the port; 0 or 1: it alone
	Seen   time.Time `json:"seen,omitzero"`
}

// Ref is the place as a port.
func (p Place) Ref() PortRef { return PortRef{p.Switch, p.Port} }

// IsZero reports whether the place is unknown.
func (p Place) IsZero() bool { return p.Switch == "" }

// UpTime is a device's time since it started, as far as it tells.
type UpTime struct {
	Ticks  uint32        `json:"ticks"` // hundredths of a second, wraps at 2^32
	Boots  *uint32       `json:"boots,omitzero"`
	Engine *uint32       `json:"engine_s,omitzero"`
	Host   *uint32       `json:"host_ticks,omitzero"`
	Read   time.Time     `json:"read"`
	Up     time.Duration `json:"up"` // best knowledge; at least this
	Basis  string        `json:"basis"`
}

// PortState is one port of a switch, as the snapshot knows it.
type PortState struct {
	Switch     string       `json:"switch"`
	Port       string       `json:"port"`      // the plan's label, else ifName
	Interface  string       `json:"interface"` // the agent's ifName
	Index      IfIndex      `json:"index"`
	AdminUp    *bool        `json:"admin_up,omitzero"`
	Up         *bool        `json:"up,omitzero"`
	Speed      BitRate      `json:"speed,omitzero"` // only while up
	HalfDuplex *bool        `json:"half_duplex,omitzero"`
	Uplink     bool         `json:"uplink,omitzero"`
	UplinkWhy  string       `json:"uplink_why,omitzero"`
	Planned    []string     `json:"planned,omitempty"` // devices that the plan puts here
	Seen       []string     `json:"seen,omitempty"`    // devices found here
	MACCount   int          `json:"macs"`              // learned here
	Neighbors  []string     `json:"neighbors,omitempty"`
	VLAN       int          `json:"vlan,omitzero"` // untagged
	Tagged     []int        `json:"tagged,omitempty"`
	VLANKnown  bool         `json:"vlan_known,omitzero"`
	Power      *PortPower   `json:"power,omitzero"` // nil: feeds nothing by design, or no standard PoE data
	Counters   PortCounters `json:"counters"`
}

// PortPower is the power side of a port. Nil figures are unknown.
type PortPower struct {
	Index      PSEIndex `json:"index"`
	MappedBy   string   `json:"mapped_by"` // plan, energy-context, lldp-pse, entity-order, convention, …
	Sure       string   `json:"sure"`      // declared, defined, inferred, assumed, corroborated
	Enabled    *bool    `json:"enabled,omitzero"`
	State      PSEState `json:"state"`
	Class      Class    `json:"class,omitzero"`
	ClassNote  string   `json:"class_note,omitzero"`
	Draw       *Power   `json:"draw,omitzero"` // at the port
	DrawBasis  Basis    `json:"draw_basis,omitzero"`
	DrawSource string   `json:"draw_source,omitzero"` // which object or TLV
	Limit      *Power   `json:"limit,omitzero"`
	LimitBasis Basis    `json:"limit_basis,omitzero"`
	Grant      *Power   `json:"grant,omitzero"` // what hardware or class grants: near is judged on this
	Reserved   *Power   `json:"reserved,omitzero"`
	Priority   int      `json:"priority,omitzero"`
	Denied     *uint32  `json:"denied,omitzero"`
	Overload   *uint32  `json:"overload,omitzero"`
	Short      *uint32  `json:"short,omitzero"`
	MPSAbsent  *uint32  `json:"mps_absent,omitzero"`
	BadSig     *uint32  `json:"bad_signature,omitzero"`
}

// Share is the draw as a share of the limit; false where either is unknown.
func (p *PortPower) Share() (float64, bool) {
	if p == nil || p.Draw == nil || p.Limit == nil || *p.Limit <= 0 {
		return 0, false
	}
	return float64(*p.Draw) / float64(*p.Limit), true
}

// PortCounters are the counters as read; differences are for whoever has two readings.
type PortCounters struct {
	Read          time.Time `json:"read"`
	In            *uint64   `json:"in,omitzero"`
	Out           *uint64   `json:"out,omitzero"`
	Wide          bool      `json:"wide,omitzero"`
	InErrors      *uint64   `json:"in_errors,omitzero"`
	OutErrors     *uint64   `json:"out_errors,omitzero"`
	FCS           *uint64   `json:"fcs,omitzero"`
	Late          *uint64   `json:"late,omitzero"`
	Discontinuity *uint32   `json:"discontinuity,omitzero"`
}

// SupplyState is one power supply of a switch, or the budget of an injector or
// pass-through switch.
type SupplyState struct {
	Switch      string `json:"switch"`
	Supply      string `json:"supply"` // its number, as text
	Budget      *Power `json:"budget,omitzero"`
	BudgetBasis Basis  `json:"budget_basis,omitzero"`
	Used        *Power `json:"used,omitzero"`        // as the agent reports it
	Drawn       *Power `json:"drawn,omitzero"`       // the sum over its ports, where each is known
	DrawnBasis  Basis  `json:"drawn_basis,omitzero"` // the weakest among them
	Unknown     int    `json:"unknown,omitzero"`     // delivering ports whose draw is unknown
	Reserved    *Power `json:"reserved,omitzero"`
	Method      string `json:"method,omitzero"` // how the switch reserves, and how that is known
	Guard       Power  `json:"guard,omitzero"`
	On          *bool  `json:"on,omitzero"`
}

// Load is what the supply gives, the reported figure first; nil: unknown.
func (s *SupplyState) Load() (*Power, Basis) {
	if s.Used != nil {
		return s.Used, Measured
	}
	return s.Drawn, s.DrawnBasis
}

// Share is the load as a share of the budget; false where either is unknown.
func (s *SupplyState) Share() (float64, bool) {
	l, _ := s.Load()
	if l == nil || s.Budget == nil || *s.Budget <= 0 {
		return 0, false
	}
	return float64(*l) / float64(*s.Budget), true
}

// SeveralSupplies reports whether a switch has more than one supply, so that it
// must be said which one is meant.
func (s *Snapshot) SeveralSupplies(name string) bool {
	n := 0
	for i := range s.Supplies {
		if s.Supplies[i].Switch == name {
			n++
		}
	}
	return n > 1
}

// Edge says that Child hangs on Parent's port.
type Edge struct {
	Child  string `json:"child"`
	Own    string `json:"own,omitzero"` // the child's own port, where known
	Parent string `json:"parent"`
	Port   string `json:"port,omitzero"`
	Basis  Basis  `json:"basis"`
	Among  int    `json:"among,omitzero"` // behind the port together with others, an unmanaged switch between
	Note   string `json:"note,omitzero"`
}

// RadioState is one end of a radio link.
type RadioState struct {
	Device string   `json:"device"`
	Link   string   `json:"link,omitzero"`
	Level  *float64 `json:"level_dbm,omitzero"`
	Rate   *BitRate `json:"air_rate,omitzero"`
	Loss   *float64 `json:"loss,omitzero"` // of the echoes across the link, 0 to 1
	Delay  *float64 `json:"delay_ms,omitzero"`
	Why    string   `json:"why,omitzero"` // why nothing of the air is readable
}

// UPSState is a UPS with its reading.
type UPSState struct {
	Device  string     `json:"device"`
	Reading UPSReading `json:"reading"`
}

// DiskState is a fixed disk of a device.
type DiskState struct {
	Device string `json:"device"`
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	Used   int64  `json:"used"`
}

// ClockState is a device's clock against ours.
type ClockState struct {
	Device string        `json:"device"`
	Source string        `json:"source"`
	Offset time.Duration `json:"offset"`
	Sure   time.Duration `json:"sure"`
}

// DoorState is a TCP port of a device that took a connection.
type DoorState struct {
	Device string `json:"device"`
	Port   uint16 `json:"port"`
	Kind   string `json:"kind,omitzero"` // telnet, http, https, rtsp, ssh; empty: unknown
}

// NetworkState is what a network holds. Where the policy is count no device of it is kept.
type NetworkState struct {
	Name    string `json:"name"`
	Counted int    `json:"counted"` // devices in a network that only counts
	Private int    `json:"private"` // unknown devices with private MACs behind access points
	Looked  Result `json:"looked,omitzero"`
	How     string `json:"how,omitzero"` // arp, neighbour tables, …
}

// AgentState is what is kept of an agent.
type AgentState struct {
	Device    string            `json:"device"`
	Result    Result            `json:"result"`
	Version   string            `json:"version,omitzero"`
	Weak      []string          `json:"weak,omitempty"`
	Descr     string            `json:"descr,omitzero"`
	ObjectID  string            `json:"object_id,omitzero"`
	Alias     netip.Addr        `json:"alias,omitzero"`
	Tables    map[string]Result `json:"tables,omitempty"`
	Ports     map[string]int    `json:"ports,omitempty"` // port key -> ifIndex, to notice renumbering
	Took      time.Duration     `json:"took,omitzero"`
	Mappings  string            `json:"mapping,omitzero"` // how PSE rows were mapped
	Reduced   int               `json:"reduced,omitzero"` // repetitions after a step-down; 0: none
	Neighbors int               `json:"neighbors,omitzero"`
}

// SharedAddr is one address that several MACs answered for.
type SharedAddr struct {
	Addr  netip.Addr `json:"address"`
	MACs  []MAC      `json:"macs"`
	Tries int        `json:"tries"` // in how many tries at least two of them answered
	Names []string   `json:"names,omitempty"`
}

// ProxyARP is one MAC that answered for many addresses.
type ProxyARP struct {
	MAC     MAC    `json:"mac"`
	Network string `json:"network"`
	Device  string `json:"device,omitzero"`
	Count   int    `json:"count"`
}

// Device finds a device by name.
func (s *Snapshot) Device(name string) (*SeenDevice, bool) {
	for i := range s.Devices {
		if s.Devices[i].Name == name {
			return &s.Devices[i], true
		}
	}
	return nil, false
}

// Port finds a port by switch and label.
func (s *Snapshot) Port(ref PortRef) (*PortState, bool) {
	for i := range s.Ports {
		if s.Ports[i].Switch == ref.Device && s.Ports[i].Port == ref.Port {
			return &s.Ports[i], true
		}
	}
	return nil, false
}

// Agent finds what is kept of a device's agent.
func (s *Snapshot) Agent(device string) (*AgentState, bool) {
	for i := range s.Agents {
		if s.Agents[i].Device == device {
			return &s.Agents[i], true
		}
	}
	return nil, false
}
