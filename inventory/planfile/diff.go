package planfile

import (
	"bytes"
	"path/filepath"
	"slices"

	"github.com/rogpeppe/go-internal/diff"
	yaml "go.yaml.in/yaml/v4"
)

// Diff is what an edit changes, in the unified format, for people to look at
// before it is written; empty where nothing changes. Factory passwords in it are
// hidden, so it is no patch. The text is one that Edit returned.
func (f *File) Diff(text []byte) (string, error) {
	g, err := Parse(f.name, text)
	if err != nil {
		return "", err
	}
	if bytes.Equal(f.src, text) {
		return "", nil
	}
	name := filepath.Base(f.name)
	d := diff.Diff(name, f.withoutPasswords(), name+" (changed)", g.withoutPasswords())
	// Its first line is a command line that nobody gave.
	if i := bytes.IndexByte(d, '\n'); i >= 0 && bytes.HasPrefix(d, []byte("diff ")) {
		d = d[i+1:]
	}
	return string(d), nil
}

// withoutPasswords is the text with (hidden) for factory passwords, for the
// further fields of login forms, and for webhooks, whose address may be a key.
func (f *File) withoutPasswords() []byte {
	l := layOut(f.src)
	var splices []splice
	hide := func(n *yaml.Node) {
		from, ok := l.start(n)
		to, ok2 := l.end(n)
		if ok && ok2 && from < to {
			splices = append(splices, splice{from, to, hidden})
		}
	}
	var walk func(n *yaml.Node, secret bool)
	walk = func(n *yaml.Node, secret bool) {
		if n.Kind == yaml.ScalarNode && secret {
			hide(n)
		}
		for i, c := range n.Content {
			key := ""
			if n.Kind == yaml.MappingNode && i%2 == 1 {
				key = n.Content[i-1].Value
			}
			isKey := n.Kind == yaml.MappingNode && i%2 == 0
			walk(c, !isKey && (secret || slices.Contains([]string{"password", "fields", "webhook"}, key)))
		}
	}
	walk(f.root, false)
	return apply(f.src, splices)
}
