package inventory

import (
	"net/netip"
	"slices"
	"strings"
	"time"
)

// Plan is what is meant: the whole plan file with names resolved, models
// merged into their devices and defaults filled in. Package planfile makes it;
// its slices keep the order of the file and are not to be changed.
type Plan struct {
	Site          Site
	Networks      []Network
	Access        []Access
	Cable         CableSpec // the default for every run of cable
	Models        []Device  // templates: Name is the model's name
	Devices       []Device
	Links         []RadioLink
	LeaveAlone    []netip.Addr // never sent more than an ARP request
	FactoryLogins LoginPolicy
	Severity      map[string]string // finding kind -> urgent, warning, note or off
	Near          Near
	Sources       Sources
	Service       Service

	byName map[string]int // by Index
}

// Site names the premises.
type Site struct {
	Name     string
	Location *time.Location // never nil in a plan that planfile made
	Boots    time.Duration  // how long the site takes to come up after a power cut; zero means 10 minutes
}

// UnknownPolicy is what a network makes of a device that no plan names.
type UnknownPolicy string

// The policies. Count keeps no address: such a network is not swept and only
// the number of its devices is known.
const (
	UnknownUrgent  UnknownPolicy = "urgent"
	UnknownWarning UnknownPolicy = "warning"
	UnknownNote    UnknownPolicy = "note"
	UnknownCount   UnknownPolicy = "count"
)

// Network is one subnet of the site.
type Network struct {
	Name    string
	Subnet  netip.Prefix   // IPv4
	Subnet6 []netip.Prefix // IPv6, when planned
	VLAN    int            // 1 to 4094; 0: not said
	Gateway netip.Addr     // invalid: not said
	Dynamic []AddrRange    // what the DHCP server gives out
	Unknown UnknownPolicy  // never empty in a plan that planfile made
	Probe   []netip.Prefix // further ranges that a commission may look into, for gear with a factory address
}

// Contains reports whether the address lies in the network, either family.
func (n Network) Contains(a netip.Addr) bool {
	return n.Subnet.Contains(a) || slices.ContainsFunc(n.Subnet6, func(p netip.Prefix) bool { return p.Contains(a) })
}

// AddrRange is an inclusive range of addresses of one family.
type AddrRange struct{ From, To netip.Addr }

// Contains reports whether a lies in the range, its ends included.
func (r AddrRange) Contains(a netip.Addr) bool {
	return r.From.Compare(a) <= 0 && a.Compare(r.To) <= 0
}

// String is the form of the plan file: from-to.
func (r AddrRange) String() string { return r.From.String() + "-" + r.To.String() }

// SecretRef says where a secret of the site lies: "file:NAME", "env:NAME" or
// "credential:NAME" (a service manager's). It is no secret itself.
type SecretRef string

// Access is one way to ask SNMP agents, named by the devices that take it.
type Access struct {
	Name      string
	Version   string // v1, v2c or v3
	Port      uint16 // 161 unless the plan says otherwise
	Community SecretRef
	User      string
	Auth      string // none, md5, sha, sha224, sha256, sha384, sha512
	Privacy   string // none, des, aes, aes192, aes256, aes192c, aes256c
	AuthKey   SecretRef
	PrivKey   SecretRef
	Context   string
	Contexts  string // which further contexts are read; empty: ContextsListed
}

// Which contexts of an agent are read beside its default one, where a switch keeps a
// forwarding table for each VLAN. Those that an agent lists it names in its ENTITY-MIB (RFC 6933).
const (
	ContextsListed  = "listed"
	ContextsPerVLAN = "per-vlan" // also those of the plan's VLANs that it does not list
	ContextsOne     = "one"      // none
)

// LoginPolicy says when factory accounts are tried.
type LoginPolicy string

// The policies.
const (
	LoginsOff         LoginPolicy = "off"
	LoginsOnRequest   LoginPolicy = "on-request"
	LoginsAfterChange LoginPolicy = "after-change"
)

// Near holds the thresholds that the plan may set; planfile fills the
// defaults of the contract in.
type Near struct {
	PortShare   float64 // of what the hardware or class grants; 0.90
	SupplyShare float64 // of the budget; 0.80
	LinkShare   float64 // of what a link carries; 0.70
	Band        float64 // against flapping; 0.05
}

// Sources switches the further sources on or off.
type Sources struct {
	MDNS        bool // multicast DNS and DNS-SD; on by default
	WSDiscovery bool // and SSDP; on by default
	ReverseDNS  bool // on by default
	Reach       bool // TCP connect and close; off by default
	Echo        bool // ICMP echo to planned radios and the gateway; on by default
	Clocks      bool // SNTP, HTTP Date, cameras' date request; on by default
	DHCPProbe   bool // one discover that takes no lease; off by default
	Leases      []LeaseFile
}

// LeaseFile is a DHCP server's lease file that this machine may read.
type LeaseFile struct {
	Path   string
	Format string // dnsmasq, isc, kea
}

// Index makes Device quick on large plans. It is for whoever builds the plan,
// before it is shared; without it Device searches.
func (p *Plan) Index() {
	p.byName = make(map[string]int, len(p.Devices))
	for i := range p.Devices {
		p.byName[p.Devices[i].Name] = i
	}
}

// Device finds a planned device by its name.
func (p *Plan) Device(name string) (*Device, bool) {
	if len(p.byName) > 0 {
		i, ok := p.byName[name]
		if !ok || i >= len(p.Devices) {
			return nil, false
		}
		return &p.Devices[i], true
	}
	for i := range p.Devices {
		if p.Devices[i].Name == name {
			return &p.Devices[i], true
		}
	}
	return nil, false
}

// AccessNamed finds an access by its name.
func (p *Plan) AccessNamed(name string) (*Access, bool) {
	for i := range p.Access {
		if p.Access[i].Name == name {
			return &p.Access[i], true
		}
	}
	return nil, false
}

// NetworkNamed finds a network by its name.
func (p *Plan) NetworkNamed(name string) (*Network, bool) {
	for i := range p.Networks {
		if p.Networks[i].Name == name {
			return &p.Networks[i], true
		}
	}
	return nil, false
}

// NetworkOf finds the planned network that holds the address.
func (p *Plan) NetworkOf(a netip.Addr) (*Network, bool) {
	a = a.WithZone("")
	for i := range p.Networks {
		if p.Networks[i].Contains(a) {
			return &p.Networks[i], true
		}
	}
	return nil, false
}

// PortRef names a port of a planned device: the label that is printed on the
// box, or the agent's ifName. The zero value is no port.
type PortRef struct {
	Device string `json:"device,omitzero"`
	Port   string `json:"port,omitzero"`
}

// ParsePortRef reads "quay-switch/5"; what follows the first slash is the port,
// so that "core/Gi1/0/5" works. A name alone is a device without a port.
func ParsePortRef(s string) PortRef {
	d, p, _ := strings.Cut(s, "/")
	return PortRef{d, p}
}

// String is the form of the plan file.
func (r PortRef) String() string {
	if r.Port == "" {
		return r.Device
	}
	return r.Device + "/" + r.Port
}

// IsZero reports whether r names nothing.
func (r PortRef) IsZero() bool { return r == PortRef{} }

// Service is how the daemon behaves.
type Service struct {
	Runs    string        // cron, five fields
	Pulse   time.Duration // between two looks at power, uptime and reach
	Digest  string        // cron, once a week
	Mail    Mail
	Webhook string // https URL for urgent findings; empty: none
	Metrics string // loopback host:port; empty: none
	Page    string // the same, for the local page
	Socket  string // the control socket's path
	Group   string // whose members may ask for a run
	Outside string // host:port outside the site, to know whether the internet line is up
	Lookup  string // a name to look up for the same purpose
}

// Mail is how the digest leaves. A zero Server means no mail.
type Mail struct {
	From     string
	To       []Recipient
	Server   string // host:port
	Security string // starttls, tls, plain
	User     string
	Password SecretRef
	Hello    string // the name given in EHLO
}

// Recipient is one who gets the digest; Short wants only what needs a hand.
type Recipient struct {
	Address string
	Short   bool
}
