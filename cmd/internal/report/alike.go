package report

import (
	"fmt"
	"strings"
	"time"

	"boundwalk/diff"
)

// leastAlike is from how many on findings that differ in their subject alone
// are told together: the first look at a site has dozens of unknown devices.
const leastAlike = 4

// alike is how many findings from the first on differ only in what and where,
// at least 1. One that is hushed has its own reason.
func alike(fs []diff.Finding, hushed map[string]string) int {
	n := 1
	for n < len(fs) && sameBut(&fs[0], &fs[n]) {
		n++
	}
	for k := range n {
		if _, quiet := hushed[fs[k].Key]; quiet {
			return max(k, 1)
		}
	}
	return n
}

func sameBut(f, g *diff.Finding) bool {
	return f.Kind == g.Kind && f.Severity == g.Severity && f.Expected == g.Expected && f.Since.Equal(g.Since) &&
		f.Caution+g.Caution == "" && len(f.Behind)+len(g.Behind) == 0 && anyKey(f) == anyKey(g)
}

// anyKey is the advice with a word in the place of the finding's own key.
func anyKey(f *diff.Finding) string {
	return strings.ReplaceAll(f.Advice, f.Key, string(f.Kind)+"/NAME")
}

// together writes what each of several findings found, and once what they share.
func (p *page) together(fs []diff.Finding, loc *time.Location) {
	for _, f := range fs {
		p.wrap("  ", headline(f))
		p.field("found", observed(f))
	}
	p.line("")
	p.wrap("  ", fmt.Sprintf("for each of these %d", len(fs)))
	shared := fs[0]
	shared.Observed, shared.Basis, shared.Advice = "", "", anyKey(&fs[0])
	shared.Key = string(shared.Kind) + "/NAME, as " + fs[0].Key
	for _, x := range particulars(shared, loc) {
		p.field(x.Name, x.Text)
	}
	p.line("")
}
