package planfile

import (
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/invopop/jsonschema"
	yaml "go.yaml.in/yaml/v4"
)

// codec is how one kind of value is read from the syntax tree, written in flow
// style, and described in the JSON Schema. A read that fails has reported why.
type codec[V any] struct {
	read   func(r *reader, n *yaml.Node) (V, bool)
	write  func(v V) string
	over   func(v, under V) string   // what must stand over a mapping that shows through; nil: the same as write
	schema func() *jsonschema.Schema // a fresh one: its caller adds to it
}

// key is one key of a mapping: a field of T.
type key[T any] struct {
	name   string
	doc    string
	need   bool // the mapping is a problem without it
	whole  bool // its mapping is not merged with the model's
	read   func(r *reader, n *yaml.Node, to *T)
	write  func(of, under *T) string // what must stand where under shows through
	same   func(a, b *T) bool
	schema func() *jsonschema.Schema
}

// field makes the key of a field.
func field[T, V any](name string, c codec[V], at func(*T) *V, doc string) key[T] {
	return key[T]{
		name: name, doc: doc,
		read: func(r *reader, n *yaml.Node, to *T) {
			if v, ok := c.read(r, n); ok {
				*at(to) = v
			}
		},
		write: func(of, under *T) string {
			if c.over != nil {
				return c.over(*at(of), *at(under))
			}
			return c.write(*at(of))
		},
		same:   func(a, b *T) bool { return reflect.DeepEqual(*at(a), *at(b)) },
		schema: c.schema,
	}
}

// group makes a key whose mapping holds further fields of T itself.
func group[T any](name string, t *table[T], doc string) key[T] {
	return key[T]{
		name: name, doc: doc,
		read: func(r *reader, n *yaml.Node, to *T) {
			if pairs, ok := r.mapping(n, t.what); ok {
				t.read(r, n, pairs, to)
			}
		},
		write: func(of, under *T) string { return flow(t.fields(of, under)) },
		same: func(a, b *T) bool {
			return !slices.ContainsFunc(t.keys, func(k key[T]) bool { return !k.same(a, b) })
		},
		schema: t.schema,
	}
}

// needed marks a key that must be there.
func (k key[T]) needed() key[T] { k.need = true; return k }

// asWhole marks a key whose mapping stands or falls as one.
func (k key[T]) asWhole() key[T] { k.whole = true; return k }

// table is the keys of one kind of mapping, in the order in which they are
// read, written and listed.
type table[T any] struct {
	what   string // "a device"
	doc    string
	keys   []key[T]
	advice map[string]string // for keys that people try
}

// read fills in what the pairs say. Keys that the table does not know, and needed
// ones that are not there, are problems told at the node at.
func (t *table[T]) read(r *reader, at *yaml.Node, pairs []pair, to *T) {
	values := make(map[string]*yaml.Node, len(pairs))
	known := 0
	for _, p := range pairs {
		values[p.key.Value] = p.value
	}
	for i := range t.keys {
		k := &t.keys[i]
		n, there := values[k.name]
		if !there {
			if k.need {
				r.fault(at, "%s needs the key %s", t.what, quoted(k.name))
			}
			continue
		}
		known++
		r.path = append(r.path, k.name)
		switch v := resolved(n); {
		case isNull(v):
			r.fault(v, "has no value: write one, or remove the line")
		default:
			k.read(r, v, to)
		}
		r.path = r.path[:len(r.path)-1]
	}
	if known < len(values) {
		t.unknown(r, pairs)
	}
}

// unknown reports the keys that the table does not know.
func (t *table[T]) unknown(r *reader, pairs []pair) {
	names := t.names()
	tried := slices.Concat(names, slices.Sorted(maps.Keys(t.advice)))
	for _, p := range pairs {
		name := p.key.Value
		if slices.Contains(names, name) {
			continue
		}
		near := ""
		if len(r.problems) < maxProblems {
			near = nearest(name, tried)
		}
		switch {
		case name[0] >= '0' && name[0] <= '9' && isNull(resolved(p.value)):
			r.fault(p.key, "%s has no key %s: between { and } a comma parts keys, so write decimals with a point, as in 12.5 W", t.what, quoted(name))
		case t.advice[near] != "":
			r.fault(p.key, "%s has no key %s: %s", t.what, quoted(name), t.advice[near])
		case near != "":
			r.fault(p.key, "%s has no key %s: did you mean %s?", t.what, quoted(name), near)
		case len(names) <= 16:
			r.fault(p.key, "%s has no key %s (it has %s)", t.what, quoted(name), strings.Join(names, ", "))
		default:
			r.fault(p.key, "%s has no key %s: \"boundwalk help plan\" lists all keys", t.what, quoted(name))
		}
	}
}

func (t *table[T]) names() []string {
	names := make([]string, len(t.keys))
	for i := range t.keys {
		names[i] = t.keys[i].name
	}
	return names
}

func (t *table[T]) key(name string) (*key[T], bool) {
	for i := range t.keys {
		if t.keys[i].name == name {
			return &t.keys[i], true
		}
	}
	return nil, false
}

// whole reports whether the key's mapping is never merged with a model's.
func (t *table[T]) whole(name string) bool {
	k, ok := t.key(name)
	return ok && k.whole
}

// fields is the keys in which v differs from what shows through, as "key: value".
func (t *table[T]) fields(v, under *T) []string {
	var out []string
	for i := range t.keys {
		k := &t.keys[i]
		if k.same(v, under) {
			continue
		}
		below := under
		if k.whole {
			below = new(T)
		}
		out = append(out, k.name+": "+k.write(v, below))
	}
	return out
}

// codec reads and writes the table's mapping; base is what holds where a key is not there.
func (t *table[T]) codec(base T) codec[T] {
	return codec[T]{
		read: func(r *reader, n *yaml.Node) (T, bool) {
			v, before := base, len(r.problems)+r.dropped
			pairs, ok := r.mapping(n, t.what)
			if ok {
				t.read(r, resolved(n), pairs, &v)
			}
			return v, ok && len(r.problems)+r.dropped == before
		},
		write:  func(v T) string { return flow(t.fields(&v, &base)) },
		over:   func(v, under T) string { return flow(t.fields(&v, &under)) },
		schema: t.schema,
	}
}

// schema describes the mapping with its keys.
func (t *table[T]) schema() *jsonschema.Schema {
	s := &jsonschema.Schema{Type: "object", Description: t.doc, Properties: jsonschema.NewProperties(), AdditionalProperties: jsonschema.FalseSchema}
	for i := range t.keys {
		k := &t.keys[i]
		sub := k.schema()
		sub.Description = k.doc
		s.Properties.Set(k.name, sub)
		if k.need {
			s.Required = append(s.Required, k.name)
		}
	}
	return s
}

// oneOrMany is a list whose single entry may stand without brackets. An entry
// must not stand there twice.
func oneOrMany[V any](c codec[V]) codec[[]V] {
	return codec[[]V]{
		read: func(r *reader, n *yaml.Node) ([]V, bool) {
			var out []V
			ok := true
			path := r.path
			for i, e := range r.list(n) {
				if n.Kind == yaml.SequenceNode {
					r.path = append(path, strconv.Itoa(i+1))
				}
				if v, fine := c.read(r, resolved(e)); !fine {
					ok = false
				} else if slices.ContainsFunc(out, func(o V) bool { return reflect.DeepEqual(o, v) }) {
					r.fault(e, "%s stands in the list twice", c.write(v))
					ok = false
				} else {
					out = append(out, v)
				}
			}
			r.path = path
			return out, ok
		},
		write: func(vs []V) string {
			if len(vs) == 1 {
				return c.write(vs[0])
			}
			return writeList(c, vs)
		},
		schema: func() *jsonschema.Schema {
			return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{c.schema(), {Type: "array", Items: c.schema()}}}
		},
	}
}

func writeList[V any](c codec[V], vs []V) string {
	texts := make([]string, len(vs))
	for i, v := range vs {
		texts[i] = c.write(v)
	}
	return "[" + strings.Join(texts, ", ") + "]"
}

// repeatable is oneOrMany for entries that may well be equal.
func repeatable[V any](c codec[V]) codec[[]V] {
	many := oneOrMany(c)
	many.read = func(r *reader, n *yaml.Node) ([]V, bool) {
		var out []V
		ok := true
		for _, e := range r.list(n) {
			v, fine := c.read(r, resolved(e))
			out, ok = append(out, v), ok && fine
		}
		return out, ok
	}
	return many
}

// pairOf is two values, for both ends of a link; a single one stands for both.
func pairOf[V comparable](c codec[V], both bool) codec[[2]V] {
	list := repeatable(c)
	return codec[[2]V]{
		read: func(r *reader, n *yaml.Node) ([2]V, bool) {
			vs, ok := list.read(r, n)
			switch {
			case !ok:
			case len(vs) == 2:
				return [2]V{vs[0], vs[1]}, true
			case len(vs) == 1 && both && n.Kind == yaml.ScalarNode:
				return [2]V{vs[0], vs[0]}, true
			case both:
				r.fault(n, "one value is expected, or two between [ and ]: the near end's first")
			default:
				r.fault(n, "two values are expected between [ and ]: the near end's first")
			}
			return [2]V{}, false
		},
		write: func(v [2]V) string {
			if both && v[0] == v[1] {
				return c.write(v[0])
			}
			return writeList(c, v[:])
		},
		schema: func() *jsonschema.Schema {
			two := uint64(2)
			s := &jsonschema.Schema{Type: "array", Items: c.schema(), MinItems: &two, MaxItems: &two}
			if !both {
				return s
			}
			return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{c.schema(), s}}
		},
	}
}

// optional reads a value whose absence differs from its zero.
func optional[V any](c codec[V]) codec[*V] {
	return codec[*V]{
		read: func(r *reader, n *yaml.Node) (*V, bool) {
			v, ok := c.read(r, n)
			return &v, ok
		},
		write: func(v *V) string {
			if v == nil {
				return "{}"
			}
			return c.write(*v)
		},
		schema: c.schema,
	}
}

// converted reads a V as a W that holds the same.
func converted[V, W any](c codec[V], to func(V) W, from func(W) V) codec[W] {
	return codec[W]{
		read: func(r *reader, n *yaml.Node) (W, bool) {
			v, ok := c.read(r, n)
			return to(v), ok
		},
		write:  func(w W) string { return c.write(from(w)) },
		schema: c.schema,
	}
}

// texts makes schema values of words.
func anys[V any](vs []V) []any {
	out := make([]any, len(vs))
	for i, v := range vs {
		out[i] = v
	}
	return out
}

func number(n int) json.Number { return json.Number(strconv.Itoa(n)) }
