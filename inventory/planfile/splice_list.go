package planfile

import (
	"bytes"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// insertItem puts an entry behind the last one of a list, or makes a list of a
// single value.
func (l layout) insertItem(n *yaml.Node, item string) ([]splice, error) {
	if n.Kind != yaml.SequenceNode {
		from, to, err := l.inPlace(n)
		if err != nil {
			return nil, err
		}
		return []splice{{from, from, "["}, {to, to, ", " + item + "]"}}, nil
	}
	end, ok := l.end(n)
	switch {
	case !ok:
		return nil, byHand(n, "is a list that cannot be added to in place")
	case n.Style&yaml.FlowStyle != 0 && len(n.Content) == 0:
		return []splice{{end - 1, end - 1, item}}, nil
	case n.Style&yaml.FlowStyle != 0:
		if end, ok = l.end(n.Content[len(n.Content)-1]); !ok {
			return nil, byHand(n, "is a list that cannot be added to in place")
		}
		return []splice{{end, end, ", " + item}}, nil
	}
	from, ok := l.start(n)
	if !ok || from < l.lineStart(from) || l.src[from] != '-' {
		return nil, byHand(n, "is a list that cannot be added to in place")
	}
	at := l.lineEnd(end)
	return []splice{{at, at, l.lineBreak() + strings.Repeat(" ", n.Column-1) + "- " + item}}, nil
}

// removeItem takes an entry out of a list of several: in braces with the comma
// before or behind it, on one line; else with its own lines.
func (l layout) removeItem(n *yaml.Node, i int) (splice, error) {
	item := n.Content[i]
	from, ok := l.start(item)
	to, ok2 := l.end(item)
	switch {
	case !ok || !ok2:
		return splice{}, byHand(item, "is written in a way that cannot be taken out in place")
	case item.Anchor != "":
		return splice{}, byHand(item, "carries the anchor &"+item.Anchor+", which others may refer to")
	case n.Style&yaml.FlowStyle == 0:
		if before := l.src[l.lineStart(from):from]; string(bytes.TrimSpace(before)) != "-" {
			return splice{}, byHand(item, "begins in a line with something else")
		}
		return l.wholeLines(from, to), nil
	case i > 0:
		from, ok = l.end(n.Content[i-1])
	default:
		to, ok = l.start(n.Content[1])
	}
	if !ok || bytes.IndexByte(l.src[from:to], '\n') >= 0 {
		return splice{}, byHand(n, "is written over several lines")
	}
	return splice{from, to, ""}, nil
}
