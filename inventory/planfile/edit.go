package planfile

import (
	"errors"
	"fmt"
	"reflect"
	"slices"

	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

// ErrByHand is returned when the text at a place is written so that it cannot
// be changed without touching what stands around it.
var ErrByHand = errors.New("change it by hand")

// ErrNotThere is returned when a change is about a device, a key or a value that
// the file does not hold at that place.
var ErrNotThere = errors.New("not there")

// Change is one change of a plan file, made by Set, Unset, Append, Replace, Remove or Add.
type Change struct {
	do         operation
	device     string
	key        string
	value, old string
	add        inventory.Device
}

type operation int

const (
	setKey operation = iota + 1
	unsetKey
	appendValue
	replaceValue
	removeValue
	addDevice
)

// Set gives a device's key a value, written as in the plan but without quotes,
// such as quay-switch/5. A key that the device does not have, or has from its
// model, is put behind its last one.
func Set(device, key, value string) Change {
	return Change{do: setKey, device: device, key: key, value: value}
}

// Unset takes a device's own key away, so that its model's shows through.
func Unset(device, key string) Change { return Change{do: unsetKey, device: device, key: key} }

// Append adds a value to a device's key that may hold several, such as mac.
func Append(device, key, value string) Change {
	return Change{do: appendValue, device: device, key: key, value: value}
}

// Replace puts one value of a device's key in another's place.
func Replace(device, key, old, value string) Change {
	return Change{do: replaceValue, device: device, key: key, old: old, value: value}
}

// Remove takes one value out of a device's key that may hold several, such as
// spare; the key goes with its last value.
func Remove(device, key, value string) Change {
	return Change{do: removeValue, device: device, key: key, value: value, old: value}
}

// Add puts a new device behind the last one. What it does not say shows through
// from its model and from the site's cable.
func Add(d inventory.Device) Change { return Change{do: addDevice, device: d.Name, add: d} }

func (c Change) String() string {
	switch c.do {
	case setKey:
		return fmt.Sprintf("set %s of %s", c.key, c.device)
	case unsetKey:
		return fmt.Sprintf("take %s from %s", c.key, c.device)
	case appendValue:
		return fmt.Sprintf("add to %s of %s", c.key, c.device)
	case replaceValue:
		return fmt.Sprintf("replace in %s of %s", c.key, c.device)
	case removeValue:
		return fmt.Sprintf("take from %s of %s", c.key, c.device)
	}
	return "add " + c.device
}

// Edit returns the file's text with the changes made, and f stays as it is.
// Comments, order and quoting of everything else stay byte for byte. The text is
// parsed again, and returned only if it says what was meant: the plan with the
// changes, and nothing else. The errors are ErrByHand, ErrNotThere, or Problems
// where the plan would be wrong with the changes.
func (f *File) Edit(changes ...Change) ([]byte, error) {
	e := editor{file: f, own: map[string][]pair{}}
	want, err := e.intended(changes)
	if err != nil {
		return nil, err
	}
	text, err := f.splice(changes)
	if err != nil {
		return nil, err
	}
	after, err := Parse(f.name, text)
	if err != nil {
		return nil, fmt.Errorf("with the change the plan would be wrong: %w", err)
	}
	if !samePlan(want, after.Plan) {
		return nil, fmt.Errorf("the changed text would not say what is meant: %w", ErrByHand)
	}
	return text, nil
}

// samePlan compares plans but for the lines that things stand in.
func samePlan(a, b *inventory.Plan) bool {
	unlined := func(p *inventory.Plan) inventory.Plan {
		q := *p
		q.Devices, q.Models, q.Links = slices.Clone(p.Devices), slices.Clone(p.Models), slices.Clone(p.Links)
		for i := range q.Devices {
			q.Devices[i].Line = 0
		}
		for i := range q.Models {
			q.Models[i].Line = 0
		}
		for i := range q.Links {
			q.Links[i].Line = 0
		}
		q.Index()
		return q
	}
	return reflect.DeepEqual(unlined(a), unlined(b))
}

// editor works out, on the syntax tree alone, what plan the changes mean. It
// shares nothing with the splices, so that each checks the other.
type editor struct {
	file *File
	own  map[string][]pair // of the devices that changed, or are new
}

// intended is the plan that the changes make.
func (e *editor) intended(changes []Change) (*inventory.Plan, error) {
	plan := *e.file.Plan
	plan.Devices = slices.Clone(plan.Devices)
	for _, c := range changes {
		if c.do == addDevice {
			_, taken := e.file.Plan.Device(c.device)
			if _, twice := e.own[c.device]; taken || twice {
				return nil, fmt.Errorf("%v: the plan has a device of that name", c)
			}
			n, err := c.entry()
			if err != nil {
				return nil, err
			}
			e.own[c.device] = pairsOf(n)
			plan.Devices = append(plan.Devices, device{Name: c.device})
			continue
		}
		if err := e.change(c); err != nil {
			return nil, fmt.Errorf("%v: %w", c, err)
		}
	}
	for i := range plan.Devices {
		name := plan.Devices[i].Name
		own, changed := e.own[name]
		if !changed {
			continue
		}
		r := &reader{name: e.file.name, models: e.file.models, cable: e.file.cable}
		d := device{Name: name}
		deviceKeys.read(r, nil, r.showThrough(own), &d)
		if err := r.result(); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		plan.Devices[i] = d
	}
	return &plan, nil
}

func pairsOf(m *yaml.Node) []pair {
	var out []pair
	for i := 0; i+1 < len(m.Content); i += 2 {
		out = append(out, pair{m.Content[i], m.Content[i+1]})
	}
	return out
}

// change makes a change on a device's own pairs.
func (e *editor) change(c Change) error {
	own, changed := e.own[c.device]
	i := slices.IndexFunc(e.file.Plan.Devices, func(d device) bool { return d.Name == c.device })
	switch {
	case !changed && i < 0:
		return fmt.Errorf("no device of that name: %w", ErrNotThere)
	case !changed:
		own = e.file.places[i].own
	}
	own = slices.Clone(own)
	at := slices.IndexFunc(own, func(p pair) bool { return p.key.Value == c.key })
	if c.do == unsetKey {
		if at < 0 {
			return fmt.Errorf("the device does not say it itself: %w", ErrNotThere)
		}
		e.own[c.device] = slices.Delete(own, at, at+1)
		return nil
	}
	_, value, err := c.written(c.value)
	if err != nil {
		return err
	}
	switch {
	case at < 0 && c.do == appendValue && i >= 0 && e.file.places[i].node(c.key) != e.file.places[i].name:
		return fmt.Errorf("the device has it from its model: %w", ErrNotThere)
	case at < 0 && (c.do == setKey || c.do == appendValue):
		own = append(own, pair{&yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: c.key}, value})
	case at < 0:
		return fmt.Errorf("the device does not say it itself: %w", ErrNotThere)
	case c.do == setKey:
		own[at].value = value
	default:
		list, err := c.listed(resolved(own[at].value), value)
		if err != nil {
			return err
		}
		if own[at].value = list; len(list.Content) == 0 {
			own = slices.Delete(own, at, at+1)
		}
	}
	e.own[c.device] = own
	return nil
}

// listed is a list with a value added, put in another's place, or taken out.
func (c Change) listed(n, value *yaml.Node) (*yaml.Node, error) {
	list := &yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Content: []*yaml.Node{n}}
	if n.Kind == yaml.SequenceNode {
		list.Content = slices.Clone(n.Content)
	}
	if c.do == appendValue {
		list.Content = append(list.Content, value)
		return list, nil
	}
	i, err := c.find(list.Content)
	if err != nil {
		return nil, err
	}
	if c.do == removeValue {
		list.Content = slices.Delete(list.Content, i, i+1)
	} else {
		list.Content[i] = value
	}
	return list, nil
}

// find is the entry of a list that means the same as the old value.
func (c Change) find(list []*yaml.Node) (int, error) {
	old, _, err := c.written(c.old)
	if err != nil {
		return 0, err
	}
	k, _ := deviceKeys.key(c.key)
	for i, n := range list {
		var d device
		r := &reader{}
		if k.read(r, resolved(n), &d); len(r.problems) == 0 && k.write(&d, &device{}) == old {
			return i, nil
		}
	}
	return 0, fmt.Errorf("the plan does not hold %s there: %w", old, ErrNotThere)
}

// written is a value of the change's key as the plan writes it, and as a node. A
// value that YAML would take for something else is put in quotes.
func (c Change) written(value string) (string, *yaml.Node, error) {
	k, ok := deviceKeys.key(c.key)
	if !ok {
		return "", nil, fmt.Errorf("a device has no key %s: %w", quoted(c.key), ErrNotThere)
	}
	var fault error
	for _, n := range []*yaml.Node{nodeOf(value), {Kind: yaml.ScalarNode, Tag: "!!str", Value: value}} {
		if n == nil || n.Kind == yaml.ScalarNode && n.Value != value {
			continue // YAML would take a part of it for a comment, or for quotes
		}
		r, d := &reader{}, device{}
		if k.read(r, n, &d); len(r.problems) > 0 {
			fault = errors.New(r.problems[0].What)
			continue
		}
		text := k.write(&d, &device{})
		if n = nodeOf(text); n != nil {
			return text, n, nil
		}
	}
	if fault == nil {
		fault = fmt.Errorf("%s cannot be written", quoted(value))
	}
	return "", nil, fault
}

// nodeOf is what YAML makes of a value on one line, or nil.
func nodeOf(text string) *yaml.Node {
	if badText(text) {
		return nil
	}
	var doc yaml.Node
	if err := yaml.Load([]byte("- "+text+"\n"), &doc, yaml.WithUniqueKeys(false)); err != nil {
		return nil
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.SequenceNode || len(doc.Content[0].Content) != 1 {
		return nil
	}
	return doc.Content[0].Content[0]
}

// entry is the new device's mapping.
func (c Change) entry() (*yaml.Node, error) {
	if _, err := parseName(c.device); err != nil {
		return nil, err
	}
	var doc yaml.Node
	if err := yaml.Load([]byte(flow(deviceKeys.fields(&c.add, &device{}))), &doc); err != nil {
		return nil, fmt.Errorf("%v: it cannot be written: %w", c, err)
	}
	return doc.Content[0], nil
}
