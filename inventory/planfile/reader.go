package planfile

import (
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// reader walks a syntax tree and collects problems.
type reader struct {
	name     string
	path     []string // the keys that lead to where it is
	problems Problems
	faults   map[faultKey]bool
	dropped  int // problems beyond maxProblems
	visits   int

	models  map[string]source // by name, while devices are read
	cable   *yaml.Node        // the site's cable; nil: none
	devices []source          // beside Plan.Devices
	links   []source          // beside Plan.Links
	nets    []source          // beside Plan.Networks
}

// source is where a named entry stands: its name, its own keys with those of
// YAML's merges, and these over those of its model.
type source struct {
	name  *yaml.Node
	own   []pair
	pairs []pair
}

// node is the value of a key, else the name itself: where a fault is told.
func (s source) node(key string) *yaml.Node {
	for _, p := range s.pairs {
		if p.key.Value == key {
			return p.value
		}
	}
	return s.name
}

// faultAt reports a problem at the value of a key of s, or at its name where it
// has no such key.
func (r *reader) faultAt(s source, key, format string, args ...any) {
	n := s.node(key)
	if n == s.name {
		r.fault(n, format, args...)
		return
	}
	r.within(key, func() { r.fault(n, format, args...) })
}

type pair struct{ key, value *yaml.Node }

// maxVisits bounds how often aliases may have the same nodes read again.
const maxVisits = 4_000_000

// spent reports that aliases blow the plan up, once.
func (r *reader) spent(n *yaml.Node, more int) bool {
	if r.visits > maxVisits {
		return true
	}
	if r.visits += more; r.visits > maxVisits {
		r.fault(n, "aliases repeat too much: the plan grows beyond what is read")
		return true
	}
	return false
}

// resolved follows an alias. Aliases never point to aliases.
func resolved(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode && n.Alias != nil {
		return n.Alias
	}
	return n
}

// within runs f with one more key on the path.
func (r *reader) within(key string, f func()) {
	r.path = append(r.path, key)
	f()
	r.path = r.path[:len(r.path)-1]
}

// mapping is the keys of a mapping, those of YAML merges behind its own. It
// reports what is no mapping, keys that are no text, and doubled keys.
func (r *reader) mapping(n *yaml.Node, what string) ([]pair, bool) {
	n = resolved(n)
	switch {
	case isNull(n):
		r.fault(n, "has no value: %s is expected (write {} where there is nothing to say)", what)
		return nil, false
	case n.Kind != yaml.MappingNode:
		r.fault(n, "%s is expected, not %s", what, kindOf(n))
		return nil, false
	}
	return r.pairs(n, 0)
}

func (r *reader) pairs(n *yaml.Node, depth int) ([]pair, bool) {
	if r.spent(n, len(n.Content)+1) {
		return nil, false
	}
	if depth > maxDepth {
		r.fault(n, "merges (<<) that lead back to themselves")
		return nil, false
	}
	ok := true
	pairs := make([]pair, 0, len(n.Content)/2)
	lines := make(map[string]int, len(n.Content)/2)
	var merges []*yaml.Node
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Tag == "!!merge" {
			merges = append(merges, v)
			continue
		}
		if !r.keyIsText(k) {
			ok = false
			continue
		}
		if line, twice := lines[k.Value]; twice {
			r.fault(k, "the key %s stands twice: here and in line %d", quoted(k.Value), line)
			ok = false
			continue
		}
		lines[k.Value] = k.Line
		pairs = append(pairs, pair{k, v})
	}
	for _, m := range merges {
		more, fine := r.merged(m, depth)
		ok = ok && fine
		for _, p := range more {
			if _, own := lines[p.key.Value]; !own {
				lines[p.key.Value] = p.key.Line
				pairs = append(pairs, p)
			}
		}
	}
	return pairs, ok
}

// merged is the keys that a merge key (<<) brings in: a mapping, or a list of them, the first winning.
func (r *reader) merged(n *yaml.Node, depth int) ([]pair, bool) {
	n = resolved(n)
	switch n.Kind {
	case yaml.MappingNode:
		return r.pairs(n, depth+1)
	case yaml.SequenceNode:
		var all []pair
		have := map[string]bool{}
		for _, c := range n.Content {
			if c = resolved(c); c.Kind != yaml.MappingNode {
				r.fault(c, "a merge (<<) takes mappings, not %s", kindOf(c))
				return nil, false
			}
			more, ok := r.pairs(c, depth+1)
			if !ok {
				return nil, false
			}
			for _, p := range more {
				if !have[p.key.Value] {
					have[p.key.Value] = true
					all = append(all, p)
				}
			}
		}
		return all, true
	}
	r.fault(n, "a merge (<<) takes a mapping, not %s", kindOf(n))
	return nil, false
}

// keyIsText refuses keys that YAML takes for something else than a name. Plain
// whole numbers pass: they are ports.
func (r *reader) keyIsText(k *yaml.Node) bool {
	switch {
	case k.Kind != yaml.ScalarNode:
		r.fault(k, "a key is expected, not %s", kindOf(k))
	case k.Tag == "!!str" && strings.TrimSpace(k.Value) == "":
		r.fault(k, "a key without a name")
	case k.Tag == "!!str", k.Tag == "!!int" && wholeNumber.MatchString(k.Value):
		return true
	default:
		r.guessed(k)
	}
	return false
}

// guessed reports a plain word that YAML reads as something else than text.
func (r *reader) guessed(n *yaml.Node) {
	if n.Style&yaml.TaggedStyle != 0 {
		r.fault(n, "the tag %s has no place in a plan: remove it", quoted(n.Tag))
		return
	}
	as := map[string]string{"!!int": "a number", "!!float": "a number", "!!bool": "true or false", "!!null": "nothing",
		"!!timestamp": "a date", "!!merge": "a merge of mappings"}[n.Tag]
	if as == "" {
		as = "something else than text"
	}
	r.fault(n, "YAML reads %s as %s: put it in quotes: \"%s\"", n.Value, as, n.Value)
}

// list is the entries of a list; a single value is a list of one.
func (r *reader) list(n *yaml.Node) []*yaml.Node {
	n = resolved(n)
	if r.spent(n, len(n.Content)+1) {
		return nil
	}
	if n.Kind == yaml.SequenceNode {
		return n.Content
	}
	return []*yaml.Node{n}
}

// overlay puts the keys of a mapping over those of another, which show where the
// first has none. Mappings in both are merged in turn, unless whole says that
// the key's value stands or falls as one.
func (r *reader) overlay(over, under []pair, whole func(key string) bool) []pair {
	out := slices.Clone(over)
	at := make(map[string]int, len(over))
	for i, p := range over {
		at[p.key.Value] = i
	}
	for _, p := range under {
		i, both := at[p.key.Value]
		if !both {
			out = append(out, p)
			continue
		}
		a, b := resolved(out[i].value), resolved(p.value)
		if a.Kind != yaml.MappingNode || b.Kind != yaml.MappingNode || whole(p.key.Value) {
			continue
		}
		above, fine := r.pairs(a, 0)
		below, fine2 := r.pairs(b, 0)
		if !fine || !fine2 {
			continue
		}
		m := &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map", Line: a.Line, Column: a.Column}
		for _, q := range r.overlay(above, below, func(string) bool { return true }) {
			m.Content = append(m.Content, q.key, q.value)
		}
		out[i].value = m
	}
	return out
}

func isNull(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Tag == "!!null" && n.Style&yaml.TaggedStyle == 0
}

func kindOf(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a mapping of keys"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Kind == yaml.AliasNode:
		return "an alias"
	case isNull(n):
		return "nothing"
	case n.Kind == yaml.ScalarNode:
		return "a single value" // not which: it may be a secret in the wrong place
	}
	return "something else"
}
