package planfile

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// splice makes the changes in the text. In each round every device is touched at
// most once, at positions of a tree that is fresh.
func (f *File) splice(changes []Change) ([]byte, error) {
	text, root := f.src, f.root
	for len(changes) > 0 {
		now, later := round(changes)
		l := layOut(text)
		var splices []splice
		for _, c := range now {
			s, err := l.change(root, c)
			if err != nil {
				if r, ok := errors.AsType[*refusal](err); ok {
					return nil, fmt.Errorf("%s:%d:%d: %v: %w", f.name, r.line, r.col, c, err)
				}
				return nil, fmt.Errorf("%v: %w", c, err)
			}
			splices = append(splices, s...)
		}
		text = apply(text, splices)
		if changes = later; len(changes) == 0 {
			break
		}
		r := &reader{name: f.name}
		if root = r.load(text); root == nil {
			return nil, fmt.Errorf("after %v: %w", now[len(now)-1], r.result())
		}
	}
	return text, nil
}

// round parts the changes that can be made at once from those that follow. New
// devices have rounds of their own: they would go where the last device may grow.
func round(changes []Change) (now, later []Change) {
	busy := map[string]bool{}
	for _, c := range changes {
		if busy[c.device] || len(now) > 0 && (now[0].do == addDevice) != (c.do == addDevice) {
			later = append(later, c)
		} else {
			now = append(now, c)
		}
		busy[c.device] = true
	}
	return now, later
}

// change works out the splices of one change.
func (l layout) change(root *yaml.Node, c Change) ([]splice, error) {
	devices, ok := valueOf(root, "devices")
	if !ok || devices.Kind != yaml.MappingNode {
		return nil, byHand(root, "the devices stand elsewhere, by an alias or a merge")
	}
	if c.do == addDevice {
		s, err := l.insertPair(devices, l.entry(devices, c))
		return []splice{s}, err
	}
	m, ok := valueOf(devices, c.device)
	if !ok || m.Kind != yaml.MappingNode {
		return nil, byHand(devices, "the device stands elsewhere, by an alias or a merge")
	}
	value, there := valueOf(m, c.key)
	switch {
	case c.do == unsetKey && there:
		i := slices.IndexFunc(m.Content, func(n *yaml.Node) bool { return n == value })
		s, err := l.removePair(m, i-1)
		return []splice{s}, err
	case c.do == setKey && !there:
		text, _, err := c.written(c.value)
		if err != nil {
			return nil, err
		}
		s, err := l.insertPair(m, c.key+": "+text)
		return []splice{s}, err
	case !there && c.do == appendValue && !mergesIn(m):
		return l.change(root, Set(c.device, c.key, c.value))
	case !there:
		return nil, byHand(m, "has it from a merge (<<)")
	case c.do == removeValue:
		return l.remove(m, value, c)
	}
	return l.changeValue(value, c)
}

// remove takes a value out of a key's list, or the key where it is the only one.
func (l layout) remove(m, value *yaml.Node, c Change) ([]splice, error) {
	if value.Kind == yaml.SequenceNode && len(value.Content) > 1 {
		i, err := c.find(value.Content)
		if err != nil {
			return nil, err
		}
		s, err := l.removeItem(value, i)
		return []splice{s}, err
	}
	i := slices.IndexFunc(m.Content, func(n *yaml.Node) bool { return n == value })
	s, err := l.removePair(m, i-1)
	return []splice{s}, err
}

func (l layout) changeValue(value *yaml.Node, c Change) ([]splice, error) {
	text, _, err := c.written(c.value)
	if err != nil {
		return nil, err
	}
	switch c.do {
	case appendValue:
		if value.Kind == yaml.AliasNode {
			return nil, byHand(value, "is an alias")
		}
		return l.insertItem(value, text)
	case replaceValue:
		list := []*yaml.Node{value}
		if value.Kind == yaml.SequenceNode {
			list = value.Content
		}
		i, err := c.find(list)
		if err != nil {
			return nil, err
		}
		value = list[i]
	}
	from, to, err := l.inPlace(value)
	return []splice{{from, to, text}}, err
}

func mergesIn(m *yaml.Node) bool {
	for i := 0; i < len(m.Content); i += 2 {
		if m.Content[i].Tag == "!!merge" {
			return true
		}
	}
	return false
}

// valueOf is the value of a key as it stands in the mapping itself.
func valueOf(m *yaml.Node, key string) (*yaml.Node, bool) {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key && m.Content[i].Kind == yaml.ScalarNode {
			return m.Content[i+1], true
		}
	}
	return nil, false
}

// entry is a new device, over several lines where one would be too wide.
func (l layout) entry(devices *yaml.Node, c Change) string {
	name, fields := plain(c.device), deviceKeys.fields(&c.add, &device{})
	if devices.Style&yaml.FlowStyle != 0 || len(devices.Content) == 0 {
		return name + ": " + flow(fields)
	}
	text := entry(devices.Content[0].Column-1, name, 0, fields, draftWidth)
	return strings.ReplaceAll(text, "\n", l.lineBreak())
}
