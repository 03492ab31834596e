package planfile

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/invopop/jsonschema"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

// entries is a mapping from names to entries of one table, kept in the order of
// the file. No name may stand twice, in whatever case.
type entries[T any] struct {
	table   *table[T]
	base    T
	named   func(v *T, name string, line int)
	through func(r *reader, own []pair) []pair // own keys over those that show through; nil: own
	finish  func(r *reader, v *T, s source)    // what one entry's keys mean together; nil: nothing
}

func (e entries[T]) read(r *reader, n *yaml.Node, what string) ([]T, []source) {
	pairs, _ := r.mapping(n, what)
	out := make([]T, 0, len(pairs))
	sources := make([]source, 0, len(pairs))
	lines := make(map[string]int, len(pairs))
	for _, p := range pairs {
		name := p.key.Value
		r.path = append(r.path, name)
		if _, err := parseName(name); err != nil {
			r.fault(p.key, "%v", err)
		}
		if line, twice := lines[strings.ToLower(name)]; twice {
			r.fault(p.key, "the name %s differs from that in line %d by its case only", quoted(name), line)
		}
		lines[strings.ToLower(name)] = p.key.Line
		v := e.base
		e.named(&v, name, p.key.Line)
		s := source{name: p.key}
		if own, ok := r.mapping(p.value, e.table.what); ok {
			s.own, s.pairs = own, own
			if e.through != nil {
				s.pairs = e.through(r, own)
			}
			e.table.read(r, p.key, s.pairs, &v)
			if e.finish != nil {
				e.finish(r, &v, s)
			}
		}
		out, sources = append(out, v), append(sources, s)
		r.path = r.path[:len(r.path)-1]
	}
	if len(out) == 0 {
		return nil, nil
	}
	return out, sources
}

func (e entries[T]) schema() *jsonschema.Schema {
	return &jsonschema.Schema{Type: "object", AdditionalProperties: e.table.schema(), PropertyNames: &jsonschema.Schema{Pattern: `^[^\s/]{1,63}$`}}
}

var networks = entries[inventory.Network]{
	table: &networkKeys, base: baseNetwork,
	named:  func(n *inventory.Network, name string, _ int) { n.Name = name },
	finish: (*reader).checkNetwork,
}

var accesses = entries[inventory.Access]{
	table: &accessKeys, base: baseAccess,
	named:  func(a *inventory.Access, name string, _ int) { a.Name = name },
	finish: (*reader).checkAccess,
}

var models = entries[device]{
	table: &modelKeys,
	named: func(d *device, name string, line int) { d.Name, d.Line = name, line },
}

var devices = entries[device]{
	table:   &deviceKeys,
	named:   func(d *device, name string, line int) { d.Name, d.Line = name, line },
	through: (*reader).showThrough,
}

var links = entries[inventory.RadioLink]{
	table: &linkKeys,
	named: func(l *inventory.RadioLink, name string, line int) { l.Name, l.Line = name, line },
}

var networksKey = key[inventory.Plan]{
	name: "networks", doc: "The subnets of the site, by name.", schema: networks.schema,
	read: func(r *reader, n *yaml.Node, p *inventory.Plan) {
		p.Networks, r.nets = networks.read(r, n, "a mapping of networks")
	},
}

var accessKey = key[inventory.Plan]{
	name: "access", doc: "Ways to ask SNMP agents, by name.", schema: accesses.schema,
	read: func(r *reader, n *yaml.Node, p *inventory.Plan) {
		p.Access, _ = accesses.read(r, n, "a mapping of accesses")
	},
}

var cableKey = func() key[inventory.Plan] {
	k := field("cable", cableKeys.codec(inventory.CableSpec{}), func(p *inventory.Plan) *inventory.CableSpec { return &p.Cable },
		"The make of cable that holds for every run unless said.")
	read := k.read
	k.read = func(r *reader, n *yaml.Node, p *inventory.Plan) {
		if read(r, n, p); n.Kind == yaml.MappingNode {
			r.cable = n
		}
	}
	return k
}()

var modelsKey = key[inventory.Plan]{
	name: "models", doc: "What several devices have in common, by name.", schema: models.schema,
	read: func(r *reader, n *yaml.Node, p *inventory.Plan) {
		var sources []source
		p.Models, sources = models.read(r, n, "a mapping of models")
		r.models = make(map[string]source, len(sources))
		for i, s := range sources {
			r.models[p.Models[i].Name] = s
		}
	},
}

var devicesKey = key[inventory.Plan]{
	name: "devices", doc: "What is meant to be there, by name.", schema: devices.schema,
	read: func(r *reader, n *yaml.Node, p *inventory.Plan) {
		p.Devices, r.devices = devices.read(r, n, "a mapping of devices")
	},
}

var linksKey = key[inventory.Plan]{
	name: "radio_links", doc: "The radio links, by name.", schema: links.schema,
	read: func(r *reader, n *yaml.Node, p *inventory.Plan) {
		p.Links, r.links = links.read(r, n, "a mapping of radio links")
	},
}

// showThrough is a device's own keys over those of its model, and those over the
// site's cable.
func (r *reader) showThrough(own []pair) []pair {
	all := own
	for _, p := range own {
		if m, ok := r.models[resolved(p.value).Value]; ok && p.key.Value == "model" {
			all = r.overlay(countedPorts(own, m.pairs), m.pairs, deviceKeys.whole)
			break
		}
	}
	if r.cable != nil {
		key := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "cable", Line: r.cable.Line, Column: r.cable.Column}
		all = r.overlay(all, []pair{{key, r.cable}}, deviceKeys.whole)
	}
	return all
}

// countedPorts puts a model's bare number of ports under count where the device
// says more of single ports, so that both hold.
func countedPorts(own, model []pair) []pair {
	at := func(pairs []pair) int {
		return slices.IndexFunc(pairs, func(p pair) bool { return p.key.Value == "ports" })
	}
	i, j := at(own), at(model)
	if i < 0 || j < 0 {
		return own
	}
	ports, count := resolved(own[i].value), resolved(model[j].value)
	if ports.Kind != yaml.MappingNode || count.Kind != yaml.ScalarNode {
		return own
	}
	for k := 0; k < len(ports.Content); k += 2 {
		if resolved(ports.Content[k]).Value == "count" {
			return own
		}
	}
	m := *ports
	m.Content = append([]*yaml.Node{{Kind: yaml.ScalarNode, Tag: "!!str", Value: "count", Line: count.Line, Column: count.Column}, count}, ports.Content...)
	out := slices.Clone(own)
	out[i].value = &m
	return out
}

// kinds are the kinds of findings, as the contract spells them.
var kinds = strings.Fields(`
missing-device address-conflict second-dhcp-server power-to-passive port-power-over supply-power-over not-powered factory-login
ups-on-battery cut-off unknown-device replaced-device moved-device wrong-network wrong-vlan address-differs proxy-arp no-address
port-power-near supply-power-near power-denied power-faults not-initialised default-community link-slow half-duplex link-errors
link-down radio-level-low link-load-near recording-short no-stream clock-off ups-battery internet-down could-not-look
supply-reserved class-differs unencrypted-management weak-snmp certificate-changed restarted firmware-changed ports-renumbered
changing-mac-devices over-budget over-current voltage-low passive-hazard address-outside double-assignment link-margin-low
radiated-power load-over-link channel-overlap no-room`)

var severityWord = words("severity", "urgent", "warning", "note", "off")

var severityKey = field("severity", codec[map[string]string]{
	read: func(r *reader, n *yaml.Node) (map[string]string, bool) {
		pairs, ok := r.mapping(n, "a mapping of kinds of findings")
		out := make(map[string]string, len(pairs))
		for _, p := range pairs {
			if kind := p.key.Value; !slices.Contains(kinds, kind) {
				hint := `"boundwalk help findings" lists them`
				if near := nearest(kind, kinds); near != "" {
					hint = "did you mean " + near + "?"
				}
				r.fault(p.key, "%s is no kind of finding: %s", quoted(kind), hint)
				ok = false
				continue
			}
			r.within(p.key.Value, func() {
				if w, fine := severityWord.read(r, resolved(p.value)); fine {
					out[p.key.Value] = w
				} else {
					ok = false
				}
			})
		}
		if len(out) == 0 {
			return nil, ok
		}
		return out, ok
	},
	write: func(m map[string]string) string {
		var out []string
		for _, k := range slices.Sorted(maps.Keys(m)) {
			out = append(out, fmt.Sprintf("%s: %s", k, severityWord.write(m[k])))
		}
		return flow(out)
	},
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{Type: "object", AdditionalProperties: severityWord.schema(), PropertyNames: &jsonschema.Schema{Enum: anys(kinds)}}
	},
}, func(p *inventory.Plan) *map[string]string { return &p.Severity },
	"Severities of kinds of findings that are to differ from the usual ones: urgent, warning, note, off.")
