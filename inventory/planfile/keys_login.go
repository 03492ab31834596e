package planfile

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/invopop/jsonschema"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

// factoryKeys is an account that a maker ships.
var factoryKeys = table[inventory.FactoryLogin]{
	what: "a factory login",
	keys: []key[inventory.FactoryLogin]{
		field("over", words("way to log in", "http", "form", "ssh", "rtsp", "onvif", "snmp"), func(l *inventory.FactoryLogin) *string { return &l.Over },
			"How it is tried: http (Basic or Digest), form, ssh, rtsp, onvif, snmp.").needed(),
		field("port", portNumber, func(l *inventory.FactoryLogin) *uint16 { return &l.Port }, "The port, where it is not the usual one."),
		field("path", webPath, func(l *inventory.FactoryLogin) *string { return &l.Path }, "The path of the page or stream that needs the login."),
		field("user", text, func(l *inventory.FactoryLogin) *string { return &l.User }, "The factory user."),
		field("password", password, func(l *inventory.FactoryLogin) *inventory.FactoryPassword { return &l.Password },
			"The factory password (with snmp, the community); in quotes where it is digits only."),
		field("fields", formFields, func(l *inventory.FactoryLogin) *map[string]string { return &l.Fields }, "A form's further fields."),
		field("user_field", text, func(l *inventory.FactoryLogin) *string { return &l.UserKey }, "The name of a form's field for the user."),
		field("password_field", text, func(l *inventory.FactoryLogin) *string { return &l.PassKey }, "The name of a form's field for the password."),
		field("success", text, func(l *inventory.FactoryLogin) *string { return &l.Success }, "A text that only what lies behind a form's login holds."),
		field("failure", text, func(l *inventory.FactoryLogin) *string { return &l.Failure },
			"A text that a form's answer to a wrong login holds; without it only status 401 counts as refused."),
		field("post", webPath, func(l *inventory.FactoryLogin) *string { return &l.Post }, "The path that a form is sent to, where it is not the form's own."),
		field("proof", webPath, func(l *inventory.FactoryLogin) *string { return &l.Proof },
			"The path of a page behind a form's login, which holds the text of success; without it second_try must prove the first."),
		field("setup_sign", text, func(l *inventory.FactoryLogin) *string { return &l.Setup }, "A text that the device's page holds while it has no password yet."),
		field("second_try", flag, func(l *inventory.FactoryLogin) *bool { return &l.Contrast },
			"true: a second, surely wrong login may be sent, to prove the first."),
		field("tls", flag, func(l *inventory.FactoryLogin) *bool { return &l.TLS }, "true: over TLS."),
	},
}

var factoryLogin = optional(factoryKeys.codec(inventory.FactoryLogin{}))

var portNumber = converted(whole("port number", 1, 65535), func(n int) uint16 { return uint16(n) }, func(p uint16) int { return int(p) })

var webPath = textual("a path", func(s string) (string, error) {
	if _, err := parseText(s); err != nil || !strings.HasPrefix(s, "/") || strings.ContainsAny(s, " ") {
		return "", fmt.Errorf("%s is no path: begin with /, without blanks", quoted(s))
	}
	return s, nil
}, plain, `^/`)

// password is a text that no message repeats. It may be empty: some makers ship that.
var password = codec[inventory.FactoryPassword]{
	read: func(r *reader, n *yaml.Node) (inventory.FactoryPassword, bool) {
		switch {
		case n.Kind != yaml.ScalarNode || n.Style&yaml.TaggedStyle != 0 && n.Tag != "!!str":
			r.fault(n, "a password is expected as text")
		case n.Tag != "!!str":
			r.fault(n, "YAML reads this password as something else than text: put it in quotes")
		case len(n.Value) > 0 && badText(n.Value):
			r.fault(n, "a password is one line of at most %d characters", maxText)
		default:
			return inventory.FactoryPassword(n.Value), true
		}
		return "", false
	},
	write:  func(p inventory.FactoryPassword) string { return plain(string(p)) },
	schema: func() *jsonschema.Schema { return &jsonschema.Schema{Type: "string"} },
}

func badText(s string) bool {
	_, err := parseText(s)
	return err != nil && strings.TrimSpace(s) != ""
}

// formFields is names with texts. The texts are not repeated in messages either.
var formFields = codec[map[string]string]{
	read: func(r *reader, n *yaml.Node) (map[string]string, bool) {
		pairs, ok := r.mapping(n, "a mapping of fields")
		out := make(map[string]string, len(pairs))
		for _, p := range pairs {
			v := resolved(p.value)
			if v.Kind != yaml.ScalarNode || v.Tag != "!!str" || badText(v.Value) {
				r.fault(v, "a field's value is text on one line: put it in quotes")
				ok = false
				continue
			}
			out[p.key.Value] = v.Value
		}
		if len(out) == 0 {
			return nil, ok
		}
		return out, ok
	},
	write: func(m map[string]string) string {
		var out []string
		for _, k := range slices.Sorted(maps.Keys(m)) {
			out = append(out, plain(k)+": "+plain(m[k]))
		}
		return flow(out)
	},
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{Type: "object", AdditionalProperties: &jsonschema.Schema{Type: "string"}}
	},
}

// objectKeys is an SNMP object that the plan names.
var objectKeys = table[inventory.PlanObject]{
	what: "an object",
	keys: []key[inventory.PlanObject]{
		field("oid", oid, func(o *inventory.PlanObject) *string { return &o.OID }, "The object's identifier without its index; in quotes.").needed(),
		field("index", words("index", "interface", "pse", "port", "none"), func(o *inventory.PlanObject) *string { return &o.Index },
			"What its last index counts: interface, pse, port, or none.").needed(),
		field("unit", words("unit", objectUnits()...), func(o *inventory.PlanObject) *string { return &o.Unit },
			"What it is in: mW, dW, W, dBm, bit/s, kbit/s, Mbit/s.").needed(),
		field("scale", factor, func(o *inventory.PlanObject) *float64 { return &o.Scale }, "What a value is multiplied by to be in that unit; 1 unless said."),
	},
}

// toBase is what turns a unit into the base unit of what it measures.
var toBase = map[string]float64{"mW": 1, "dW": 100, "W": 1000, "dBm": 1, "bit/s": 1, "kbit/s": 1e3, "Mbit/s": 1e6}

var unitsFor = map[string][]string{"power": {"mW", "dW", "W"}, "level": {"dBm"}, "rate": {"bit/s", "kbit/s", "Mbit/s"}}

func objectUnits() []string { return slices.Sorted(maps.Keys(toBase)) }

var oidForm = regexp.MustCompile(`^[0-2](\.(0|[1-9][0-9]*)){3,60}$`)

var oid = textual("an object identifier", func(s string) (string, error) {
	fits := func(id string) bool { _, err := strconv.ParseUint(id, 10, 32); return err == nil } // RFC 2578, 3.5
	if !oidForm.MatchString(s) || slices.ContainsFunc(strings.Split(s, "."), func(id string) bool { return !fits(id) }) {
		return "", fmt.Errorf("%s is no object identifier: write numbers with points between, such as 1.3.6.1.4.1.99999.1.2", quoted(s))
	}
	return s, nil
}, doubleQuoted, oidForm.String())

// factor is a bare number: the only one of the plan, since it is a ratio.
var factor = codec[float64]{
	read: func(r *reader, n *yaml.Node) (float64, bool) {
		if n.Kind == yaml.ScalarNode && (n.Tag == "!!int" || n.Tag == "!!float") && plainNumber.MatchString(n.Value) {
			if v, err := factors.parse(n.Value + " x"); err == nil && v > 0 {
				return v, true
			}
		}
		r.fault(n, "a factor is expected: a number above zero, such as 0.1")
		return 0, false
	},
	write:  func(v float64) string { return strings.TrimSuffix(factors.write(v), " x") },
	schema: func() *jsonschema.Schema { return &jsonschema.Schema{Type: "number", ExclusiveMinimum: "0"} },
}

var factors = dimension{what: "factor", example: "0.1 x", low: 0, high: 1e9, units: []unit{{"x", 1, false}}}

// objectKey is a key of a device whose value is one of its objects.
func objectKey(keyName, use, doc string) key[device] {
	find := func(d *device) (inventory.PlanObject, bool) {
		i := slices.IndexFunc(d.Objects, func(o inventory.PlanObject) bool { return o.Use == use })
		if i < 0 {
			return inventory.PlanObject{}, false
		}
		return d.Objects[i], true
	}
	set := func(d *device, o inventory.PlanObject) {
		// A copy: a device must not write into its model's list.
		d.Objects = slices.DeleteFunc(slices.Clone(d.Objects), func(p inventory.PlanObject) bool { return p.Use == use })
		d.Objects = append(d.Objects, o)
	}
	return key[device]{
		name: keyName, doc: doc, whole: true,
		read: func(r *reader, n *yaml.Node, to *device) {
			o, ok := objectKeys.codec(inventory.PlanObject{Scale: 1}).read(r, n)
			switch {
			case !ok:
			case !slices.Contains(unitsFor[use], o.Unit):
				r.fault(n, "%s is no unit of a %s: write %s", quoted(o.Unit), use, orList(unitsFor[use]))
			default:
				o.Use, o.Scale = use, o.Scale*toBase[o.Unit]
				set(to, o)
			}
		},
		write: func(d, _ *device) string {
			o, ok := find(d)
			if !ok {
				return "{}"
			}
			o.Use, o.Scale = "", o.Scale/toBase[o.Unit]
			return objectKeys.codec(inventory.PlanObject{Scale: 1}).write(o)
		},
		same: func(a, b *device) bool {
			x, _ := find(a)
			y, _ := find(b)
			return x == y
		},
		schema: objectKeys.schema,
	}
}

// parseSeason reads Nov-Mar, November-March or one month.
func parseSeason(s string) (inventory.Season, error) {
	from, to, span := strings.Cut(s, "-")
	if !span {
		to = from
	}
	a, okA := month(from)
	b, okB := month(to)
	if !okA || !okB {
		return inventory.Season{}, fmt.Errorf("%s is no span of months: write English months, such as Nov-Mar", quoted(s))
	}
	return inventory.Season{From: a, To: b}, nil
}

func month(s string) (time.Month, bool) {
	s = strings.TrimSpace(s)
	for m := time.January; m <= time.December; m++ {
		if strings.EqualFold(s, m.String()) || strings.EqualFold(s, m.String()[:3]) {
			return m, true
		}
	}
	return 0, false
}
