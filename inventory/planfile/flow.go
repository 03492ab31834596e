package planfile

import "strings"

// flow is a mapping on one line.
func flow(fields []string) string { return "{" + strings.Join(fields, ", ") + "}" }

// entry is a named mapping that stands indent deep: on one line, its brace in the
// column after a name of the given length, or, where that gets wider than most,
// with its keys on the lines below its name.
func entry(indent int, name string, length int, fields []string, most int) string {
	one := name + ": " + strings.Repeat(" ", max(length-len(name), 0)) + flow(fields)
	if indent+len(one) <= most || len(fields) < 2 {
		return one
	}
	deep := strings.Repeat(" ", indent+3)
	var b strings.Builder
	b.WriteString(name + ":\n" + deep[:indent+2] + "{")
	line := len(deep)
	for i, f := range fields {
		switch {
		case i == 0:
		case line+2+len(f) > most:
			b.WriteString(",\n" + deep)
			line = len(deep)
		default:
			b.WriteString(", ")
			line += 2
		}
		b.WriteString(f)
		line += len(f)
	}
	b.WriteString("}")
	return b.String()
}
