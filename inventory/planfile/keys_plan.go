package planfile

import (
	"net/netip"
	"time"

	"boundwalk/inventory"
)

// planKeys is the plan file as a whole. Devices are read after what they refer to.
var planKeys = table[inventory.Plan]{
	what: "a plan",
	doc:  "The plan of a site for boundwalk: what is meant to be there.",
	keys: []key[inventory.Plan]{
		field("site", siteKeys.codec(baseSite), func(p *inventory.Plan) *inventory.Site { return &p.Site },
			"The premises.").needed(),
		networksKey.needed(),
		accessKey,
		cableKey,
		modelsKey,
		devicesKey.needed(),
		linksKey,
		field("leave_alone", oneOrMany(address), func(p *inventory.Plan) *[]netip.Addr { return &p.LeaveAlone },
			"Addresses that are never sent more than an ARP request: lifts, alarms, controllers."),
		field("factory_logins", words("policy", inventory.LoginsOff, inventory.LoginsOnRequest, inventory.LoginsAfterChange),
			func(p *inventory.Plan) *inventory.LoginPolicy { return &p.FactoryLogins },
			"When factory accounts named by the plan are tried: off (the default), on-request, after-change."),
		severityKey,
		field("near", nearKeys.codec(basePlan.Near), func(p *inventory.Plan) *inventory.Near { return &p.Near },
			"What counts as near a limit."),
		field("sources", sourcesKeys.codec(basePlan.Sources), func(p *inventory.Plan) *inventory.Sources { return &p.Sources },
			"Further sources of what is there, switched on or off."),
		field("service", serviceKeys.codec(basePlan.Service), func(p *inventory.Plan) *inventory.Service { return &p.Service },
			"How the daemon behaves."),
	},
	advice: map[string]string{"hosts": "did you mean devices?", "switches": "switches stand under devices, with role: switch",
		"cameras": "cameras stand under devices, with role: camera", "mail": "mail stands under service",
		"vlans": "each network has its vlan", "links": "did you mean radio_links?", "community": "it stands in an entry under access"},
}

var baseSite = inventory.Site{Location: time.Local}

// basePlan is what holds where the plan says nothing.
var basePlan = inventory.Plan{
	Site:          baseSite,
	FactoryLogins: inventory.LoginsOff,
	Near:          inventory.Near{PortShare: 0.90, SupplyShare: 0.80, LinkShare: 0.70, Band: 0.05}, // the contract's
	Sources:       inventory.Sources{MDNS: true, WSDiscovery: true, ReverseDNS: true, Echo: true, Clocks: true},
	Service:       inventory.Service{Runs: "*/15 * * * *", Pulse: time.Minute, Digest: "0 8 * * MON"},
}

var siteKeys = table[inventory.Site]{
	what: "the site",
	keys: []key[inventory.Site]{
		field("name", text, func(s *inventory.Site) *string { return &s.Name },
			"What the premises are called, in reports and in the mail's subject.").needed(),
		field("timezone", zone, func(s *inventory.Site) **time.Location { return &s.Location },
			"The site's time zone, such as Europe/Dublin; without it, this machine's."),
		field("boots", span, func(s *inventory.Site) *time.Duration { return &s.Boots },
			"How long the site takes to come up after a power cut; 10 min unless said."),
	},
}

// networkKeys is one entry under networks.
var networkKeys = table[inventory.Network]{
	what: "a network",
	doc:  "One subnet of the site.",
	keys: []key[inventory.Network]{
		field("subnet", subnet4, func(n *inventory.Network) *netip.Prefix { return &n.Subnet },
			"The IPv4 subnet, such as 203.0.113.0/25.").needed(),
		field("subnet6", oneOrMany(subnet6), func(n *inventory.Network) *[]netip.Prefix { return &n.Subnet6 },
			"The IPv6 subnets, where they are planned."),
		field("vlan", whole("VLAN", 1, 4094), func(n *inventory.Network) *int { return &n.VLAN },
			"Its VLAN, 1 to 4094."),
		field("gateway", address, func(n *inventory.Network) *netip.Addr { return &n.Gateway },
			"The router's address in it."),
		field("dynamic", oneOrMany(addrRange), func(n *inventory.Network) *[]inventory.AddrRange { return &n.Dynamic },
			"What the DHCP server gives out, such as 203.0.113.64-203.0.113.120."),
		field("unknown", words("policy", inventory.UnknownUrgent, inventory.UnknownWarning, inventory.UnknownNote, inventory.UnknownCount),
			func(n *inventory.Network) *inventory.UnknownPolicy { return &n.Unknown },
			"What a device that no plan names is here: urgent, warning (the default), note; count: not swept, no address kept, only a number."),
		field("probe", oneOrMany(subnet), func(n *inventory.Network) *[]netip.Prefix { return &n.Probe },
			"Further ranges that a commission may look into, for gear with a factory address."),
	},
	advice: map[string]string{"address": "did you mean subnet or gateway?", "dhcp": "did you mean dynamic?", "range": "did you mean dynamic?",
		"cidr": "did you mean subnet?"},
}

var baseNetwork = inventory.Network{Unknown: inventory.UnknownWarning}

// accessKeys is one entry under access.
var accessKeys = table[inventory.Access]{
	what: "an access",
	doc:  "One way to ask SNMP agents, named by the devices that take it.",
	keys: []key[inventory.Access]{
		field("snmp", words("SNMP version", "v1", "v2c", "v3"), func(a *inventory.Access) *string { return &a.Version },
			"The version: v1, v2c or v3.").needed(),
		field("port", portNumber,
			func(a *inventory.Access) *uint16 { return &a.Port }, "The agent's UDP port; 161 unless said."),
		field("community", secretRef, func(a *inventory.Access) *inventory.SecretRef { return &a.Community },
			"Where the community lies (v1, v2c), such as file:yard.community; never the community itself."),
		field("user", text, func(a *inventory.Access) *string { return &a.User },
			"The user (v3)."),
		field("auth", words("authentication", "none", "md5", "sha", "sha224", "sha256", "sha384", "sha512"),
			func(a *inventory.Access) *string { return &a.Auth }, "The authentication protocol (v3); none unless said."),
		field("privacy", words("privacy", "none", "des", "aes", "aes192", "aes256", "aes192c", "aes256c"),
			func(a *inventory.Access) *string { return &a.Privacy },
			"The privacy protocol (v3); none unless said. aes192c and aes256c lengthen the key the way some makers do."),
		group("secrets", &secretsKeys, "Where the passphrases lie (v3)."),
		field("context", text, func(a *inventory.Access) *string { return &a.Context },
			"The context name (v3), where the agent wants one."),
		field("contexts", words("choice", inventory.ContextsListed, inventory.ContextsPerVLAN, inventory.ContextsOne),
			func(a *inventory.Access) *string { return &a.Contexts },
			"Which further contexts are read where a switch keeps a forwarding table for each VLAN: listed (those it lists in its ENTITY-MIB; "+
				"so unless said), per-vlan (of switches also those not listed, one for each VLAN of the plan), one (none). v1 and v2c ask by the community with @ and the VLAN behind it."),
	},
	advice: map[string]string{"version": "did you mean snmp?", "password": "it stands under secrets, as a reference such as file:core.auth",
		"username": "did you mean user?", "secret": "did you mean secrets?"},
}

var baseAccess = inventory.Access{Port: 161}

var secretsKeys = table[inventory.Access]{
	what: "secrets",
	keys: []key[inventory.Access]{
		field("auth", secretRef, func(a *inventory.Access) *inventory.SecretRef { return &a.AuthKey },
			"Where the authentication passphrase lies."),
		field("privacy", secretRef, func(a *inventory.Access) *inventory.SecretRef { return &a.PrivKey },
			"Where the privacy passphrase lies."),
	},
}

var nearKeys = table[inventory.Near]{
	what: "near",
	keys: []key[inventory.Near]{
		field("port", share, func(n *inventory.Near) *float64 { return &n.PortShare },
			"Of what a port's hardware or class grants; 90 % unless said."),
		field("supply", share, func(n *inventory.Near) *float64 { return &n.SupplyShare },
			"Of a supply's budget; 80 % unless said."),
		field("link", share, func(n *inventory.Near) *float64 { return &n.LinkShare },
			"Of what a link carries; 70 % unless said."),
		field("band", share, func(n *inventory.Near) *float64 { return &n.Band },
			"How far a figure must fall back before a finding ends; 5 % unless said."),
	},
}

var sourcesKeys = table[inventory.Sources]{
	what: "sources",
	keys: []key[inventory.Sources]{
		field("mdns", flag, func(s *inventory.Sources) *bool { return &s.MDNS }, "Multicast DNS and DNS-SD; on unless said."),
		field("ws_discovery", flag, func(s *inventory.Sources) *bool { return &s.WSDiscovery }, "WS-Discovery and SSDP; on unless said."),
		field("reverse_dns", flag, func(s *inventory.Sources) *bool { return &s.ReverseDNS }, "Names by reverse DNS; on unless said."),
		field("reach", flag, func(s *inventory.Sources) *bool { return &s.Reach }, "Connecting to a few management ports and closing again; off unless said."),
		field("echo", flag, func(s *inventory.Sources) *bool { return &s.Echo }, "ICMP echo to planned radios and the gateway; on unless said."),
		field("clocks", flag, func(s *inventory.Sources) *bool { return &s.Clocks }, "Reading the devices' clocks; on unless said."),
		field("dhcp_probe", flag, func(s *inventory.Sources) *bool { return &s.DHCPProbe }, "One DHCP discover that takes no lease; off unless said."),
		field("leases", oneOrMany(leaseKeys.codec(inventory.LeaseFile{})), func(s *inventory.Sources) *[]inventory.LeaseFile { return &s.Leases },
			"Lease files of DHCP servers that this machine may read."),
	},
}

var leaseKeys = table[inventory.LeaseFile]{
	what: "a lease file",
	keys: []key[inventory.LeaseFile]{
		field("path", path, func(l *inventory.LeaseFile) *string { return &l.Path }, "The file's full path.").needed(),
		field("format", words("format", "dnsmasq", "isc", "kea"), func(l *inventory.LeaseFile) *string { return &l.Format },
			"Whose file it is: dnsmasq, isc or kea.").needed(),
	},
}
