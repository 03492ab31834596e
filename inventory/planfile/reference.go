package planfile

import (
	"fmt"
	"slices"
	"strings"

	"github.com/invopop/jsonschema"
)

// Section is one mapping of the plan file, for people to read.
type Section struct {
	Path string // "networks.NAME", where NAME and NUMBER are the writer's own; empty: the file's top level
	Doc  string // a sentence; may be empty
	Keys []Entry
}

// Title is the section's path, or words for the file's top level.
func (s Section) Title() string {
	if s.Path == "" {
		return "the file itself"
	}
	return s.Path
}

// Entry is one key of a mapping.
type Entry struct {
	Key    string
	Needed bool
	Doc    string // sentences
	Values string // the words or the form that it takes, where Doc leaves that open; may be empty
}

// Text is what there is to say of the key.
func (e Entry) Text() string {
	text := e.Doc
	if e.Values != "" {
		text += " " + e.Values
	}
	if e.Needed {
		text += " Needed."
	}
	return text
}

// Reference is all mappings of the plan file with all their keys, in the order in
// which they are best read, from the table that Parse reads by. A mapping that
// stands in several places is listed once, at the first.
func Reference() []Section {
	r := referrer{listed: map[string]string{}}
	r.section("", planKeys.schema())
	return r.out
}

// referrer collects sections. listed names the path of each set of keys.
type referrer struct {
	out    []Section
	listed map[string]string
}

// part is a mapping found in a key's value, still to be listed.
type part struct {
	path   string
	schema *jsonschema.Schema
}

func (r *referrer) section(path string, s *jsonschema.Schema) {
	at := len(r.out)
	r.out = append(r.out, Section{Path: path, Doc: s.Description})
	var parts []part
	for p := s.Properties.Oldest(); p != nil; p = p.Next() {
		e := Entry{Key: p.Key, Needed: slices.Contains(s.Required, p.Key), Doc: p.Value.Description, Values: values(p.Value)}
		for _, m := range mappings(join(path, p.Key), p.Value) {
			switch keys := keysOf(m.schema); {
			case r.listed[keys] == m.path: // one or a list of them
			case m.path == "models.NAME":
				e.Doc += " Its keys are those of a device that several can share."
			case r.listed[keys] != "":
				e.Doc += fmt.Sprintf(" Its keys are those of %s.", r.listed[keys])
			default:
				r.listed[keys] = m.path
				parts = append(parts, m)
			}
		}
		r.out[at].Keys = append(r.out[at].Keys, e)
	}
	for _, m := range parts {
		r.section(m.path, m.schema)
	}
}

func join(path, key string) string { return strings.TrimPrefix(path+"."+key, ".") }

// keysOf is one word for a set of keys.
func keysOf(s *jsonschema.Schema) string {
	var names []string
	for p := s.Properties.Oldest(); p != nil; p = p.Next() {
		names = append(names, p.Key)
	}
	return strings.Join(names, " ")
}

// mappings is what a value may be or hold that has keys of its own.
func mappings(path string, s *jsonschema.Schema) []part {
	var out []part
	if s.Properties.Len() > 0 && s.AdditionalProperties == jsonschema.FalseSchema {
		return []part{{path, s}}
	}
	if a := s.AdditionalProperties; a != nil && a.Properties.Len() > 0 {
		name := "NAME"
		if s.Properties.Len() > 0 {
			name = "NUMBER" // of ports: a count beside the numbered ones
		}
		out = append(out, part{join(path, name), a})
	}
	for _, a := range s.AnyOf {
		out = append(out, mappings(path, a)...)
	}
	if s.Items != nil {
		out = append(out, mappings(path, s.Items)...)
	}
	return out
}

// values says what a value may be where the schema knows more than its description.
func values(s *jsonschema.Schema) string {
	told := func(words []any) bool {
		return !slices.ContainsFunc(words, func(w any) bool { return !strings.Contains(s.Description, fmt.Sprint(w)) })
	}
	switch {
	case len(s.Enum) > 0 && !told(s.Enum):
		words := make([]string, len(s.Enum))
		for i, w := range s.Enum {
			words[i] = fmt.Sprint(w)
		}
		return "One of " + strings.Join(words, ", ") + "."
	case len(s.Examples) > 0 && !strings.ContainsAny(s.Description, "0123456789") && !strings.Contains(s.Description, "such as"):
		return fmt.Sprintf("Such as %v.", s.Examples[0])
	case s.Type == "boolean" && !strings.Contains(s.Description, "true") && !strings.Contains(s.Description, "unless said"):
		return "true or false."
	}
	return ""
}
