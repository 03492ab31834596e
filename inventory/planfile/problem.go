package planfile

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// Problem is one fault of a plan file.
type Problem struct {
	File  string // as given to Parse
	Line  int    // from 1; 0: the file as a whole
	Col   int    // from 1, in characters
	Where string // the keys that lead there, such as "devices.slip-cam.mac"; empty: no key
	What  string // what is wrong, and what was expected
}

// Error is "plan.yaml:14:9: devices.slip-cam.mac: …".
func (p Problem) Error() string {
	var b strings.Builder
	b.WriteString(filepath.Base(p.File))
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.Line, p.Col)
	}
	b.WriteString(": ")
	if p.Where != "" {
		b.WriteString(p.Where + ": ")
	}
	b.WriteString(p.What)
	return b.String()
}

// Problems is every fault of one plan file, in the order of its lines.
type Problems []Problem

// Error is one line for each problem.
func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

// maxProblems keeps a file of rubbish from filling the screen and the memory.
const maxProblems = 1000

// fault remembers a problem at a node. The same words at the same place count
// once: a model is read again for each device that takes it.
func (r *reader) fault(n *yaml.Node, format string, args ...any) {
	p := Problem{File: r.name, Where: strings.Join(r.path, "."), What: fmt.Sprintf(format, args...)}
	if n != nil {
		p.Line, p.Col = n.Line, n.Column
	}
	k := faultKey{p.Line, p.Col, p.What}
	if r.faults[k] {
		return
	}
	if len(r.problems) >= maxProblems {
		r.dropped++
		return
	}
	if r.faults == nil {
		r.faults = map[faultKey]bool{}
	}
	r.faults[k] = true
	r.problems = append(r.problems, p)
}

type faultKey struct {
	line, col int
	what      string
}

// result is the problems in the order of the file, or nil.
func (r *reader) result() error {
	if len(r.problems) == 0 {
		return nil
	}
	slices.SortStableFunc(r.problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
	})
	if r.dropped > 0 {
		r.problems = append(r.problems, Problem{File: r.name, What: fmt.Sprintf("and %d more problems", r.dropped)})
	}
	return r.problems
}

// nearest finds the word that a mistyped one was meant to be: at most two slips
// away, one for short words. Swapped neighbours count as one slip.
func nearest(word string, words []string) string {
	best, least := "", 3
	if len(word) < 4 {
		least = 2
	}
	for _, w := range words {
		if d := slips(strings.ToLower(word), strings.ToLower(w), least); d < least {
			best, least = w, d
		}
	}
	return best
}

// slips is the optimal string alignment distance, or a number not below limit.
func slips(a, b string, limit int) int {
	if d := len(a) - len(b); d >= limit || -d >= limit || len(a) > 64 {
		return limit
	}
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			same := 1
			if a[i-1] == b[j-1] {
				same = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+same)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}
