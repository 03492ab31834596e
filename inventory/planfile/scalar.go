package planfile

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/invopop/jsonschema"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

// wholeNumber is a number that reads the same for people and for YAML.
var wholeNumber = regexp.MustCompile(`^(0|[1-9][0-9]{0,8})$`)

// maxText is how long a text of the plan may be, in characters.
const maxText = 500

// scalar is the value of a text. Anything that YAML takes for another type is
// reported, unless also says that the tag will do.
func (r *reader) scalar(n *yaml.Node, what string, also ...string) (string, bool) {
	switch {
	case n.Kind != yaml.ScalarNode || isNull(n):
		r.fault(n, "%s is expected, not %s", what, kindOf(n))
	case n.Tag == "!!str" || slices.Contains(also, n.Tag) && n.Style&yaml.TaggedStyle == 0:
		return n.Value, true
	default:
		r.guessed(n)
	}
	return "", false
}

// textual makes a codec for what is written as text. The parse's error says
// what is wrong with the text.
func textual[V any](what string, parse func(string) (V, error), write func(V) string, pattern string, also ...string) codec[V] {
	return codec[V]{
		read: func(r *reader, n *yaml.Node) (V, bool) {
			var none V
			s, ok := r.scalar(n, what, also...)
			if !ok {
				return none, false
			}
			v, err := parse(s)
			if err != nil {
				r.fault(n, "%v", err)
				return none, false
			}
			return v, true
		},
		write:  write,
		schema: func() *jsonschema.Schema { return &jsonschema.Schema{Type: "string", Pattern: pattern} },
	}
}

// text is any words on one line.
var text = textual("a text", parseText, plain, `\S`)

func parseText(s string) (string, error) {
	switch {
	case strings.TrimSpace(s) == "":
		return "", fmt.Errorf("is empty: leave the key out where there is nothing to say")
	case utf8.RuneCountInString(s) > maxText:
		return "", fmt.Errorf("has %d characters: at most %d", utf8.RuneCountInString(s), maxText)
	}
	for _, c := range s {
		if unicode.IsControl(c) || c == '\u2028' || c == '\u2029' {
			return "", fmt.Errorf("holds a line break or another control character: write it on one line")
		}
	}
	return s, nil
}

// name is what other keys refer to.
var name = textual("a name", parseName, plain, `^[^\s/,]+$`, "!!int")

// nameForm leaves the length to its user: a bound here would be a copy of the
// letters' tables for each character, 3 MB in all.
var nameForm = regexp.MustCompile(`^[\p{L}\p{N}][\p{L}\p{N}\p{M}._-]*$`)

const maxName = 63 // characters

func parseName(s string) (string, error) {
	if utf8.RuneCountInString(s) > maxName || !nameForm.MatchString(s) {
		return "", fmt.Errorf("%s is no name: letters, digits, dashes, points and underscores, at most %d", quoted(s), maxName)
	}
	return s, nil
}

// portLabel is what is printed at a port, or its ifName. A plain whole number
// may stand without quotes.
var portLabel = codec[string]{
	read: func(r *reader, n *yaml.Node) (string, bool) {
		if n.Kind == yaml.ScalarNode && n.Tag == "!!int" && wholeNumber.MatchString(n.Value) && n.Style&yaml.TaggedStyle == 0 {
			return n.Value, true
		}
		s, ok := r.scalar(n, "a port")
		if !ok {
			return "", false
		}
		if s, err := parseText(s); err != nil || s != strings.TrimSpace(s) || len(s) > 64 {
			r.fault(n, "%s is no port: write its label or the agent's name for it, without blanks around it, at most 64 characters", quoted(s))
			return "", false
		}
		return s, true
	},
	write: func(s string) string {
		if wholeNumber.MatchString(s) {
			return s
		}
		return plain(s)
	},
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{{Type: "integer", Minimum: "0"}, {Type: "string", Pattern: `^\S(.*\S)?$`}}}
	},
}

// flag is true or false, in no other words: yes and on mean something else to
// each YAML reader.
var flag = codec[bool]{
	read: func(r *reader, n *yaml.Node) (bool, bool) {
		if n.Kind == yaml.ScalarNode && n.Tag == "!!bool" && (n.Value == "true" || n.Value == "false") {
			return n.Value == "true", true
		}
		r.fault(n, "write true or false")
		return false, false
	},
	write:  strconv.FormatBool,
	schema: func() *jsonschema.Schema { return &jsonschema.Schema{Type: "boolean"} },
}

// whole is a number without a unit, between low and high.
func whole(what string, low, high int) codec[int] {
	return codec[int]{
		read: func(r *reader, n *yaml.Node) (int, bool) {
			digits := strings.TrimPrefix(n.Value, "-")
			switch {
			case n.Kind != yaml.ScalarNode || isNull(n):
				r.fault(n, "%s is expected: a number from %d to %d, not %s", what, low, high, kindOf(n))
				return 0, false
			case n.Tag == "!!str" && wholeNumber.MatchString(digits):
				r.fault(n, "write the number without quotes: %s", n.Value)
				return 0, false
			case n.Tag != "!!int" || !wholeNumber.MatchString(digits):
				r.fault(n, "%s is no %s: write a number from %d to %d", quoted(n.Value), what, low, high)
				return 0, false
			}
			v, err := strconv.Atoi(n.Value)
			if err != nil || v < low || v > high {
				r.fault(n, "%s is no %s: write a number from %d to %d", quoted(n.Value), what, low, high)
				return 0, false
			}
			return v, true
		},
		write: strconv.Itoa,
		schema: func() *jsonschema.Schema {
			return &jsonschema.Schema{Type: "integer", Minimum: number(low), Maximum: number(high)}
		},
	}
}

// words is one of a few words.
func words[V ~string](what string, known ...V) codec[V] {
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	c := textual(what, func(s string) (V, error) {
		if slices.Contains(names, s) {
			return V(s), nil
		}
		if near := nearest(s, names); near != "" {
			return "", fmt.Errorf("%s is no %s: did you mean %s?", quoted(s), what, near)
		}
		return "", fmt.Errorf("%s is no %s: write %s", quoted(s), what, orList(names))
	}, func(v V) string { return plain(string(v)) }, "")
	c.schema = func() *jsonschema.Schema { return &jsonschema.Schema{Type: "string", Enum: anys(names)} }
	return c
}

// amount is a quantity with its unit.
func amount[V ~int64 | ~int32 | ~int | ~float64](d dimension) codec[V] {
	if d.whole && math.Abs(float64(V(d.high))-d.high) > 0.5 {
		panic("planfile: the range of " + d.what + " does not fit its type") // cannot happen: tables are fixed
	}
	c := textual(d.what, func(s string) (V, error) {
		v, err := d.parse(s)
		return V(v), err
	}, func(v V) string { return d.write(float64(v)) }, "", "!!int", "!!float")
	c.schema = func() *jsonschema.Schema {
		return &jsonschema.Schema{Type: "string", Pattern: d.pattern(), Examples: []any{d.example}}
	}
	return c
}

// pattern is what an editor can check of a quantity.
func (d dimension) pattern() string {
	names := d.names()
	for i, n := range names {
		names[i] = regexp.QuoteMeta(n)
	}
	return `^\s*[-+]?[0-9]+(\.[0-9]+)?\s*(` + strings.Join(names, "|") + `)\s*$`
}

// amounts of the plan's types.
var (
	watts   = amount[inventory.Power](powers)
	metres  = amount[float64](lengths)
	volts   = amount[float64](voltages)
	rate    = amount[inventory.BitRate](bitRates)
	share   = amount[float64](shares)
	celsius = amount[float64](warmth)
)

// span is a length of time.
var span = func() codec[time.Duration] {
	c := textual("a span of time", parseDuration, writeDuration, "", "!!int", "!!float")
	c.schema = func() *jsonschema.Schema {
		return &jsonschema.Schema{Type: "string", Pattern: `^\s*([0-9]+(\.[0-9]+)?\s*[a-z]+\s*)+$`, Examples: []any{"15 min", "1h30m", "14 days"}}
	}
	return c
}()

// plainForm is text that reads as text everywhere in YAML, also between { and }.
var plainForm = regexp.MustCompile(`^[\p{L}/][\p{L}\p{N}_./+@-]*( [\p{L}\p{N}_./+@()-]+)*$`)

// readAs are the words that one YAML reader or another takes for no text.
var readAs = []string{"true", "false", "yes", "no", "on", "off", "null", "y", "n", "nan", "inf"}

// plain is the text as it stands where that is safe, else in double quotes.
func plain(s string) string {
	if plainForm.MatchString(s) && !slices.Contains(readAs, strings.ToLower(s)) {
		return s
	}
	return doubleQuoted(s)
}

// doubleQuoted is the text in YAML's double quotes, with nothing in it that
// does not show.
func doubleQuoted(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case unicode.IsPrint(c):
			b.WriteRune(c)
		case c <= 0xffff:
			fmt.Fprintf(&b, `\u%04x`, c)
		default:
			fmt.Fprintf(&b, `\U%08x`, c)
		}
	}
	b.WriteByte('"')
	return b.String()
}
