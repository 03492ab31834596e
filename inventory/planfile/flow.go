package planfile

import "strings"

// flow is a mapping on one line.
func flow(fields []string) string { return "{" + strings.Join(fields, ", ") + "}" }

// entry is a named mapping on one line or, where that gets wider than width, with
// its keys broken over the lines below its name.
func entry(indent int, name string, fields []string, width int) string {
	one := strings.Repeat(" ", indent) + name + ": " + flow(fields)
	if len(one) <= width || len(fields) < 2 {
		return one[indent:]
	}
	deep := strings.Repeat(" ", indent+3)
	var b strings.Builder
	b.WriteString(name + ":\n" + strings.Repeat(" ", indent+2) + "{")
	line := indent + 3
	for i, f := range fields {
		switch {
		case i == 0:
		case line+2+len(f) > width:
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
