package planfile

import (
	"net/netip"
	"slices"
	"time"

	"boundwalk/inventory"
)

type device = inventory.Device // the tables below name it on every line

// deviceKeys is one entry under devices. Keys that a model may give as well are in modelKeys.
var deviceKeys = table[device]{
	what: "a device",
	doc:  "One planned thing. A key that is not there is taken from the device's model.",
	keys: []key[device]{
		field("model", name, func(d *device) *string { return &d.Model }, "The entry under models that holds what the device has in common with others."),
		roleKey,
		field("mac", oneOrMany(mac), func(d *device) *[]inventory.MAC { return &d.MACs },
			"Its MAC address, or all of them; left out until the thing is bought. Five styles are understood; put it in quotes."),
		field("address", oneOrMany(address), func(d *device) *[]netip.Addr { return &d.Addresses }, "Its IP address, or all of them."),
		field("agent", agentAddr, func(d *device) *netip.AddrPort { return &d.Agent },
			"Where its SNMP agent answers, if not at its address and the access's port: 127.0.0.1:1161."),
		field("access", name, func(d *device) *string { return &d.Access }, "The entry under access that says how to ask its SNMP agent."),
		field("at", portRef, func(d *device) *inventory.PortRef { return &d.At },
			"Where it hangs: a device and the port's label, quay-switch/5; a device alone where the port does not matter, as for what comes by radio."),
		field("via", oneOrMany(name), func(d *device) *[]string { return &d.Via }, "Injectors between it and where it hangs, the nearest to it first."),
		field("port", portLabel, func(d *device) *string { return &d.Port }, "Its own port that leads there, such as a switch's uplink."),
		field("vlan", whole("VLAN", 1, 4094), func(d *device) *int { return &d.VLAN }, "The untagged VLAN of the port that it hangs on; the network's unless said."),
		field("tagged", oneOrMany(whole("VLAN", 1, 4094)), func(d *device) *[]int { return &d.Tagged }, "Tagged VLANs of that port."),
		field("speed", rate, func(d *device) *inventory.BitRate { return &d.Speed }, "The speed that its link is meant to have, such as 1 Gbit/s."),
		field("important", flag, func(d *device) *bool { return &d.Important }, "true raises its findings by one step."),
		field("away", oneOrMany(season), func(d *device) *[]inventory.Season { return &d.Away }, "Months in which it is meant to be absent, such as Nov-Mar."),
		field("restarts", oneOrMany(restartKeys.codec(inventory.Schedule{})), func(d *device) *[]inventory.Schedule { return &d.Restarts },
			"When it may restart without a finding."),
		field("room", text, func(d *device) *string { return &d.Room }, "Where it stands."),
		field("panel", text, func(d *device) *string { return &d.Panel }, "The patch panel's port that its cable ends at."),
		field("cable", runKeys.codec(inventory.CableRun{}), func(d *device) *inventory.CableRun { return &d.Cable }, "The cable to where it hangs."),
		field("maker", text, func(d *device) *string { return &d.Maker }, "Who made it."),
		field("product", text, func(d *device) *string { return &d.Product }, "The maker's name for it."),
		field("serial", text, func(d *device) *string { return &d.Serial }, "Its serial number; in quotes where it is digits only."),
		field("firmware", text, func(d *device) *string { return &d.Firmware }, "The firmware that it is meant to run."),
		field("note", text, func(d *device) *string { return &d.Note }, "Anything worth knowing."),

		field("class", class, func(d *device) *inventory.Class { return &d.Class }, "Its power class, 0 to 8."),
		field("draws", drawsKeys.codec(inventory.Draws{}), func(d *device) *inventory.Draws { return &d.Draws }, "What it draws at its own input."),
		field("takes", need, func(d *device) *inventory.Feed { return &d.Takes },
			"The passive feed that it needs; nothing for a device that negotiates, or that is fed from elsewhere.").asWhole(),
		field("min_voltage", volts, func(d *device) *float64 { return &d.MinVolt }, "The least voltage at which its maker lets it run."),
		field("max_voltage", volts, func(d *device) *float64 { return &d.MaxVolt }, "The most that its maker allows."),
		field("any_polarity", flag, func(d *device) *bool { return &d.AnyPolarity }, "true: its maker says that either polarity of a passive feed will do."),
		field("mains", name, func(d *device) *string { return &d.Mains }, "What it plugs into: a UPS of the plan, or mains."),

		portsKey,
		field("feeds", feed, func(d *device) *inventory.Feed { return &d.Feeds },
			"What its ports put on the cable: 802.3af, 802.3at, 802.3bt type 3, 802.3bt type 4, or a mapping for passive power.").asWhole(),
		field("budget", watts, func(d *device) *inventory.Power { return &d.Budget }, "What all its ports together may give."),
		field("supplies", repeatable(watts), func(d *device) *[]inventory.Power { return &d.Supplies }, "Each supply's power, where there are several."),
		field("redundant", flag, func(d *device) *bool { return &d.Redundant }, "true: of several supplies, one is a reserve."),
		field("reserves", reservation, func(d *device) *reserveRule { return &d.Reserves }, "How it sets power aside for a port: by-class, fixed, by-lldp, by-use."),
		field("guard", watts, func(d *device) *inventory.Power { return &d.Guard }, "What it keeps back from its budget."),
		field("own", watts, func(d *device) *inventory.Power { return &d.Own }, "What a pass-through switch needs for itself."),
		field("efficiency", share, func(d *device) *float64 { return &d.Efficiency }, "What of its feed a pass-through switch passes on."),
		field("spare", oneOrMany(portLabel), func(d *device) *[]string { return &d.Spare }, "Ports kept free."),
		field("guest", oneOrMany(portLabel), func(d *device) *[]string { return &d.Guest }, "Ports where unknown devices are meant to appear."),

		field("stream", rate, func(d *device) *inventory.BitRate { return &d.Stream }, "A camera's stream at its cap."),
		field("duty", share, func(d *device) *float64 { return &d.Duty }, "The share of the day that is recorded; all of it unless said."),
		field("recorder", name, func(d *device) *string { return &d.Recorder }, "The recorder that keeps a camera's stream; the only one unless said."),
		field("recording", recordingKeys.codec(inventory.Recording{}), func(d *device) *inventory.Recording { return &d.Recording },
			"What a recorder is meant to keep."),
		field("load", upsKeys.codec(inventory.UPSPlan{}), func(d *device) *inventory.UPSPlan { return &d.UPS }, "A UPS on paper."),
		field("factory_login", factoryLogin, func(d *device) **inventory.FactoryLogin { return &d.FactoryLogin },
			"The account that its maker ships. It is public knowledge and may stand here; it is never printed.").asWhole(),
		objectKey("power_object", "power", "An SNMP object that tells the draw of a port, where no standard one does."),
		objectKey("level_object", "level", "An SNMP object that tells a radio's receive level."),
		objectKey("rate_object", "rate", "An SNMP object that tells a radio's air rate."),
	},
	advice: map[string]string{
		"name": "the name stands before the colon", "type": "did you mean role?", "kind": "did you mean role?", "ip": "did you mean address?",
		"hostname": "the name stands before the colon", "switch": "where it hangs stands under at, as in quay-switch/5",
		"poe":   "what its ports give stands under feeds, what it takes under class or takes",
		"power": "what it draws stands under draws, as in {usual: 5 W, most: 11 W}",
		"watts": "what it draws stands under draws, as in {usual: 5 W, most: 11 W}", "vendor": "did you mean maker?", "manufacturer": "did you mean maker?",
		"length": "it stands under cable", "label": "it stands under cable", "location": "did you mean room?", "community": "it stands in an entry under access",
		"snmp": "it stands in an entry under access", "password": "a factory account stands under factory_login; others have no place in a plan",
		"uplink": "where it hangs stands under at, its own port that leads there under port", "keep": "it stands under recording",
		"disk":  "it stands under recording",
		"rated": "it stands under load", "battery": "it stands under load", "runtime": "it stands under load", "bitrate": "did you mean stream?",
	},
}

var roleKey = field("role", words("role", inventory.Roles...), func(d *device) *inventory.Role { return &d.Role },
	"What it is for.")

// ofOneDevice are the keys that a model cannot give: they say which device it is, or where.
var ofOneDevice = []string{"model", "mac", "address", "agent", "at", "via", "port", "serial", "panel"}

// modelKeys is one entry under models.
var modelKeys = func() table[device] {
	t := table[device]{what: "a model", doc: "What several devices have in common.", advice: deviceKeys.advice}
	for _, k := range deviceKeys.keys {
		if !slices.Contains(ofOneDevice, k.name) {
			t.keys = append(t.keys, k)
		}
	}
	return t
}()

var restartKeys = table[inventory.Schedule]{
	what: "a time of restarts",
	keys: []key[inventory.Schedule]{
		field("cron", cronTime, func(s *inventory.Schedule) *string { return &s.Cron }, "When, as five cron fields.").needed(),
		field("for", span, func(s *inventory.Schedule) *time.Duration { return &s.For }, "For how long from then.").needed(),
	},
}

var conductor = words("conductor", "copper", "cca")

// cableKeys is the make of a cable.
var cableKeys = table[inventory.CableSpec]{
	what: "a cable",
	keys: []key[inventory.CableSpec]{
		field("gauge", amount[int](gauges), func(c *inventory.CableSpec) *int { return &c.Gauge }, "The wire's gauge, such as 23 AWG."),
		field("conductor", conductor, func(c *inventory.CableSpec) *string { return &c.Conductor }, "copper, or cca for copper-clad aluminium."),
		field("stranded", flag, func(c *inventory.CableSpec) *bool { return &c.Stranded }, "true: stranded wire, as in patch cords."),
	},
}

// runKeys is one run of cable.
var runKeys = table[inventory.CableRun]{
	what: "a run of cable",
	keys: []key[inventory.CableRun]{
		field("label", text, func(c *inventory.CableRun) *string { return &c.Label }, "What stands on the cable; in quotes where it is digits only."),
		field("length", metres, func(c *inventory.CableRun) *float64 { return &c.Length }, "Its length, such as 62 m."),
		field("gauge", amount[int](gauges), func(c *inventory.CableRun) *int { return &c.Gauge }, "The wire's gauge; the site's unless said."),
		field("conductor", conductor, func(c *inventory.CableRun) *string { return &c.Conductor }, "copper or cca; the site's unless said."),
		field("stranded", flag, func(c *inventory.CableRun) *bool { return &c.Stranded }, "true: stranded wire; the site's unless said."),
		field("temperature", celsius, func(c *inventory.CableRun) *float64 { return &c.Celsius }, "How warm it gets; 40 °C unless said."),
		field("bundle", whole("number of cables", 1, 1000), func(c *inventory.CableRun) *int { return &c.Bundle }, "How many cables lie together."),
		field("outdoor", flag, func(c *inventory.CableRun) *bool { return &c.Outdoor }, "true: it runs outdoors."),
	},
}

// linkKeys is one entry under radio_links.
var linkKeys = table[inventory.RadioLink]{
	what: "a radio link",
	doc:  "One radio link on paper.",
	keys: []key[inventory.RadioLink]{
		field("between", pairOf(name, false), func(l *inventory.RadioLink) *[2]string { return &l.Between }, "The two radios, the near one first.").needed(),
		field("distance", metres, func(l *inventory.RadioLink) *float64 { return &l.Distance }, "How far apart they are."),
		field("frequency", amount[float64](frequencies), func(l *inventory.RadioLink) *float64 { return &l.Frequency }, "The channel's middle, such as 5500 MHz."),
		field("width", amount[int](widths), func(l *inventory.RadioLink) *int { return &l.Width }, "The channel's width, such as 20 MHz."),
		field("standard", words("standard", "n", "ac", "ax"), func(l *inventory.RadioLink) *string { return &l.Standard }, "802.11 n, ac or ax."),
		field("streams", whole("number of streams", 1, 8), func(l *inventory.RadioLink) *int { return &l.Streams }, "Spatial streams."),
		field("tx_power", amount[float64](levels), func(l *inventory.RadioLink) *float64 { return &l.TxPower }, "The transmit power at the radio, in dBm."),
		field("gain", pairOf(amount[float64](gains), true), func(l *inventory.RadioLink) *[2]float64 { return &l.Gain },
			"The antennas' gain, in dBi; two values where the ends differ."),
		field("feeder", amount[float64](losses), func(l *inventory.RadioLink) *float64 { return &l.Feeder }, "What cable and plugs lose at each end, in dB."),
		field("eirp_limit", optional(amount[float64](levels)), func(l *inventory.RadioLink) **float64 { return &l.EIRPLimit },
			"The radiated power that the country allows, in dBm, as you read it there."),
		field("through", repeatable(text), func(l *inventory.RadioLink) *[]string { return &l.Through }, "What stands in the way, such as brick wall."),
		field("obstacle", metres, func(l *inventory.RadioLink) *float64 { return &l.Obstacle }, "From the near side to the highest point below the ray."),
		field("clearance", metres, func(l *inventory.RadioLink) *float64 { return &l.Clearance }, "The free height there."),
		field("needs", rate, func(l *inventory.RadioLink) *inventory.BitRate { return &l.Needs }, "What the link must carry."),
		field("port_speed", pairOf(rate, true), func(l *inventory.RadioLink) *[2]inventory.BitRate { return &l.PortSpeed },
			"The planned speed of the radios' cable ports; two values where the ends differ."),
		field("level", optional(amount[float64](levels)), func(l *inventory.RadioLink) **float64 { return &l.Level },
			"The receive level that the installer wrote down, in dBm."),
		field("others", rate, func(l *inventory.RadioLink) *inventory.BitRate { return &l.Others }, "The load beside the cameras'."),
	},
	advice: map[string]string{"channel": "did you mean frequency, in MHz?", "bandwidth": "did you mean width?", "power": "did you mean tx_power?"},
}

var widths = dimension{what: "channel width", example: "20 MHz", low: 1, high: 320, whole: true, units: []unit{{"MHz", 1, false}}}

var season = textual("a span of months", parseSeason, func(s inventory.Season) string { return s.String() }, `^[A-Za-z]{3,9}(-[A-Za-z]{3,9})?$`)
