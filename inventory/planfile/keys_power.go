package planfile

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/invopop/jsonschema"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

type reserveRule = poe.Reservation

var reserveRules = []reserveRule{poe.ByClass, poe.Fixed, poe.ByLLDP, poe.ByUse}

var reservation = named("way to reserve", reserveRules)

// named is one of a few values that go by their String.
func named[V fmt.Stringer](what string, known []V) codec[V] {
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = k.String()
	}
	return converted(words(what, names...), func(s string) V {
		if i := slices.Index(names, s); i >= 0 {
			return known[i]
		}
		var none V
		return none
	}, func(v V) string { return v.String() })
}

var class = converted(whole("power class", 0, 8), func(n int) inventory.Class {
	c, _ := poe.ClassOf(int64(n)) // whole has checked the range
	return c
}, func(c inventory.Class) int {
	n, _ := c.Number()
	return n
})

var drawsKeys = table[inventory.Draws]{
	what: "a draw",
	keys: []key[inventory.Draws]{
		field("usual", watts, func(d *inventory.Draws) *inventory.Power { return &d.Usual }, "What it draws by day, such as 5 W."),
		field("most", watts, func(d *inventory.Draws) *inventory.Power { return &d.Most }, "What it draws at most, with lamp, heater and start-up."),
	},
}

var recordingKeys = table[inventory.Recording]{
	what: "recording",
	keys: []key[inventory.Recording]{
		field("disk", amount[int64](sizes), func(v *inventory.Recording) *int64 { return &v.Disk }, "What of the disk is usable, such as 2 TB."),
		field("keep", span, func(v *inventory.Recording) *time.Duration { return &v.Keep }, "How long recordings are meant to be kept, such as 14 days."),
	},
}

var upsKeys = table[inventory.UPSPlan]{
	what: "a UPS's load",
	keys: []key[inventory.UPSPlan]{
		field("rated", watts, func(u *inventory.UPSPlan) *inventory.Power { return &u.Rated }, "What it can give, in watts, not volt-amperes."),
		field("planned", watts, func(u *inventory.UPSPlan) *inventory.Power { return &u.Load }, "The load meant; unless said, what names it as mains is summed."),
		field("battery", battery, func(u *inventory.UPSPlan) *float64 { return &u.Battery },
			"The battery's energy, such as 216 Wh, or {charge: 9 Ah, voltage: 24 V}."),
		field("runtime", span, func(u *inventory.UPSPlan) *time.Duration { return &u.Runtime }, "How long it is meant to hold at that load."),
	},
}

// battery is an energy, or a charge at a voltage.
var battery = codec[float64]{
	read: func(r *reader, n *yaml.Node) (float64, bool) {
		if n.Kind == yaml.MappingNode {
			c, ok := cellKeys.codec(cell{}).read(r, n)
			return c.charge * c.voltage, ok
		}
		return amount[float64](energies).read(r, n)
	},
	write: amount[float64](energies).write,
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{amount[float64](energies).schema(), cellKeys.schema()}}
	},
}

type cell struct{ charge, voltage float64 }

var cellKeys = table[cell]{
	what: "a battery",
	keys: []key[cell]{
		field("charge", amount[float64](charges), func(c *cell) *float64 { return &c.charge }, "Its charge, such as 9 Ah.").needed(),
		field("voltage", volts, func(c *cell) *float64 { return &c.voltage }, "Its voltage, such as 24 V.").needed(),
	},
}

var standards = []poe.Standard{poe.AF, poe.AT, poe.BT3, poe.BT4}

var standard = func() codec[poe.Standard] {
	c := named("standard", standards)
	read := c.read
	c.read = func(r *reader, n *yaml.Node) (poe.Standard, bool) {
		if n.Kind == yaml.ScalarNode && n.Value == "802.3bt" {
			r.fault(n, `"802.3bt" has two types: write 802.3bt type 3 (up to 60 W at the port) or 802.3bt type 4 (up to 90 W)`)
			return 0, false
		}
		return read(r, n)
	}
	c.write = func(s poe.Standard) string { return s.String() } // begins with a digit, and is text all the same
	return c
}()

// pins is the pins of one polarity.
var pins = codec[poe.Pins]{
	read: func(r *reader, n *yaml.Node) (poe.Pins, bool) {
		numbers, ok := oneOrMany(whole("pin", 1, 8)).read(r, n)
		if !ok {
			return 0, false
		}
		p, err := poe.PinsOf(numbers...)
		if err != nil {
			r.fault(n, "%v", err)
		}
		return p, err == nil
	},
	write: func(p poe.Pins) string {
		var numbers []int
		for n := 1; n <= 8; n++ {
			if p&(1<<(n-1)) != 0 {
				numbers = append(numbers, n)
			}
		}
		return writeList(whole("pin", 1, 8), numbers)
	},
	schema: oneOrMany(whole("pin", 1, 8)).schema,
}

// feedKeys is a feed that takes more than a word.
var feedKeys = table[inventory.Feed]{
	what: "a feed",
	keys: []key[inventory.Feed]{
		field("standard", standard, func(f *inventory.Feed) *poe.Standard { return &f.Standard }, "The standard by which it asks the device first."),
		{
			name: "passive", doc: "A voltage that stands on the pairs without asking, such as 24 V; unknown where nobody knows it.",
			read: func(r *reader, n *yaml.Node, to *inventory.Feed) {
				if n.Kind == yaml.ScalarNode && n.Value == "unknown" {
					to.Standard = poe.Passive
				} else if v, ok := volts.read(r, n); ok {
					to.Standard, to.Volts = poe.Passive, v
				}
			},
			write: func(f, _ *inventory.Feed) string { return passiveVolts(f) },
			same:  func(a, b *inventory.Feed) bool { return passiveVolts(a) == passiveVolts(b) },
			schema: func() *jsonschema.Schema {
				return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{volts.schema(), {Const: "unknown"}}}
			},
		},
		field("voltage", volts, func(f *inventory.Feed) *float64 { return &f.Volts },
			"The voltage at a port of the standard, where it is known to be above the least."),
		field("plus", pins, func(f *inventory.Feed) *poe.Pins { return &f.Plus }, "The pins with plus of a passive feed, such as [4, 5]."),
		field("minus", pins, func(f *inventory.Feed) *poe.Pins { return &f.Minus }, "The pins with minus, such as [7, 8]."),
		field("forced", flag, func(f *inventory.Feed) *bool { return &f.Forced }, "true: set to give power without asking first; as live as a passive feed."),
		field("direct", flag, func(f *inventory.Feed) *bool { return &f.Direct }, "true: a 10/100 injector that puts the voltage where gigabit needs data."),
		field("limit", watts, func(f *inventory.Feed) *inventory.Power { return &f.Limit }, "A lower limit, by its maker or its setting."),
	},
	advice: map[string]string{"volts": "did you mean passive or voltage?", "pins": "write plus and minus"},
}

func passiveVolts(f *inventory.Feed) string {
	switch {
	case f.Standard != poe.Passive:
		return ""
	case f.Volts == 0:
		return "unknown"
	}
	return volts.write(f.Volts)
}

// feed is a word, or a mapping.
var feed = codec[inventory.Feed]{
	read: func(r *reader, n *yaml.Node) (inventory.Feed, bool) {
		if n.Kind != yaml.MappingNode {
			s, ok := standard.read(r, n)
			return inventory.Feed{Standard: s}, ok
		}
		var f inventory.Feed
		pairs, ok := r.mapping(n, feedKeys.what)
		if !ok {
			return f, false
		}
		before := len(r.problems) + r.dropped
		feedKeys.read(r, n, pairs, &f)
		if len(r.problems)+r.dropped > before {
			return f, false
		}
		return f, r.checkFeed(n, pairs, f)
	},
	write: writeFeed,
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{standard.schema(), feedKeys.schema()}}
	},
}

func (r *reader) checkFeed(n *yaml.Node, pairs []pair, f inventory.Feed) bool {
	has := func(key string) bool {
		return slices.ContainsFunc(pairs, func(p pair) bool { return p.key.Value == key })
	}
	passive := has("passive")
	switch {
	case passive == has("standard"):
		r.fault(n, "a feed has either a standard or a passive voltage, as in {passive: 24 V, plus: [4, 5], minus: [7, 8]}")
	case passive && (has("voltage") || f.Forced):
		r.fault(n, "a passive feed has its voltage under passive, and is always forced")
	case !passive && (f.Plus|f.Minus != 0 || f.Direct):
		r.fault(n, "plus, minus and direct belong to a passive feed; a standard fixes the pins")
	case f.Plus&f.Minus != 0:
		r.fault(n, "pins %s stand under plus and under minus", f.Plus&f.Minus)
	default:
		return true
	}
	return false
}

func writeFeed(f inventory.Feed) string {
	if f == (inventory.Feed{Standard: f.Standard}) && f.Standard != poe.Passive {
		return standard.write(f.Standard)
	}
	hide := "passive"
	if f.Standard == poe.Passive {
		hide = "standard"
	}
	var out []string
	for _, s := range feedKeys.fields(&f, &inventory.Feed{}) {
		if key, _, _ := strings.Cut(s, ":"); key != hide && (key != "voltage" || hide == "passive") {
			out = append(out, s)
		}
	}
	return flow(out)
}

// need is a passive feed that a device takes.
var need = func() codec[inventory.Feed] {
	c := feed
	c.read = func(r *reader, n *yaml.Node) (inventory.Feed, bool) {
		f, ok := feed.read(r, n)
		if ok && f.Standard != poe.Passive {
			r.fault(n, "a device that negotiates its power needs no takes: its class says what it takes")
			return f, false
		}
		return f, ok
	}
	c.schema = feedKeys.schema
	return c
}()

// portPlanKeys is what the plan says of one port.
var portPlanKeys = table[inventory.PortPlan]{
	what: "a port",
	keys: []key[inventory.PortPlan]{
		field("label", text, func(p *inventory.PortPlan) *string { return &p.Label }, "What stands beside the port."),
		field("max", watts, func(p *inventory.PortPlan) *inventory.Power { return &p.Max }, "What the administrator allows on it."),
		field("feeds", feed, func(p *inventory.PortPlan) *inventory.Feed { return &p.Feeds }, "What it puts on the cable, where that differs from the switch's."),
		field("pse", pseRow, func(p *inventory.PortPlan) *string { return &p.PSE }, "Its row in the agent's PSE table, as group/port, such as 1/5."),
		field("shed_first", flag, func(p *inventory.PortPlan) *bool { return &p.Lowest }, "true: the first to lose power where it runs short."),
	},
}

var pseRowForm = regexp.MustCompile(`^(0|[1-9][0-9]{0,8})(/(0|[1-9][0-9]{0,8}))?$`)

// pseRow is kept as "group.port", which YAML would take for a number.
var pseRow = func() codec[string] {
	c := textual("a row of the PSE table", func(s string) (string, error) {
		if !pseRowForm.MatchString(s) {
			return "", fmt.Errorf("%s is no row of the PSE table: write group/port, such as 1/5", quoted(s))
		}
		return strings.Replace(s, "/", ".", 1), nil
	}, func(s string) string { return strings.Replace(s, ".", "/", 1) }, "", "!!int")
	c.schema = func() *jsonschema.Schema {
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{{Type: "integer", Minimum: "0"}, {Type: "string", Pattern: pseRowForm.String()}}}
	}
	return c
}()

// portsKey is a number of ports, or a mapping that says more of some of them.
var portsKey = key[device]{
	name: "ports", doc: "How many numbered ports it has, or a mapping with count and, by label, what is to be said of single ports.",
	read: func(r *reader, n *yaml.Node, to *device) {
		if n.Kind != yaml.MappingNode {
			if v, ok := portCount.read(r, n); ok {
				to.Ports = v
			}
			return
		}
		pairs, ok := r.mapping(n, "a mapping of ports")
		if !ok {
			return
		}
		to.Ports, to.PortPlans = 0, nil
		for _, p := range pairs {
			r.within(p.key.Value, func() { r.readPort(p, to) })
		}
	},
	write: func(d, under *device) string {
		if len(d.PortPlans) == 0 {
			return strconv.Itoa(d.Ports)
		}
		var out []string
		if d.Ports != under.Ports {
			out = append(out, "count: "+strconv.Itoa(d.Ports))
		}
		for _, p := range d.PortPlans {
			if !slices.Contains(under.PortPlans, p) {
				out = append(out, portLabel.write(p.Port)+": "+portPlanKeys.codec(inventory.PortPlan{Port: p.Port}).write(p))
			}
		}
		return flow(out)
	},
	same: func(a, b *device) bool { return a.Ports == b.Ports && slices.Equal(a.PortPlans, b.PortPlans) },
	schema: func() *jsonschema.Schema {
		m := &jsonschema.Schema{Type: "object", Properties: jsonschema.NewProperties(), AdditionalProperties: portPlanKeys.schema()}
		m.Properties.Set("count", portCount.schema())
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{portCount.schema(), m}}
	},
}

var portCount = whole("number of ports", 0, 10000)

func (r *reader) readPort(p pair, to *device) {
	v := resolved(p.value)
	if p.key.Value == "count" {
		if n, ok := portCount.read(r, v); ok {
			to.Ports = n
		}
		return
	}
	label, ok := portLabel.read(r, resolved(p.key))
	if !ok {
		return
	}
	plan, ok := portPlanKeys.codec(inventory.PortPlan{Port: label}).read(r, v)
	if !ok {
		return
	}
	if slices.ContainsFunc(to.PortPlans, func(o inventory.PortPlan) bool { return inventory.PortName(o.Port) == inventory.PortName(label) }) {
		r.fault(p.key, "port %s stands here twice", quoted(label))
		return
	}
	to.PortPlans = append(to.PortPlans, plan)
}
