// Package sheet puts the plan on paper for people: what a cabinet door, an
// electrician and an owner want to read. It is pure. No secret and no factory
// password is in it, but addresses and places are, so that it is confidential.
package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// Parts are the names of the parts, in their order.
var Parts = []string{"cables", "ports", "addresses", "spare", "models", "power-cut", "cautions", "as-built"}

// Sheet is the plan as tables.
type Sheet struct {
	Site   string
	Made   time.Time
	Tables []Table
}

// Table is one table with what is to be read beside it. A table without columns
// is a list of Notes.
type Table struct {
	Part    string   `json:"part"`
	Title   string   `json:"title"`
	Columns []Column `json:"-"`
	Rows    [][]string
	Notes   []string // one sentence each
	Numbers bool     // the notes are steps, in their order
}

// Column is a column's name and whether figures stand in it.
type Column struct {
	Name  string
	Right bool
}

// columns makes columns of names; a name that ends in > holds figures.
func columns(names ...string) []Column {
	out := make([]Column, len(names))
	for i, n := range names {
		name, right := strings.CutSuffix(n, ">")
		out[i] = Column{name, right}
	}
	return out
}

// dash is what stands where the plan says nothing.
const dash = "-"

func orDash(s string) string { return cmp.Or(s, dash) }

// New makes the sheet of a plan. Built is the last run, to set what was built
// beside what was planned; nil: from the plan alone.
func New(plan *inventory.Plan, built *inventory.Snapshot, now time.Time) Sheet {
	m := &maker{plan: plan, paper: diff.PaperLines(plan)}
	s := Sheet{Site: plan.Site.Name, Made: now}
	s.Tables = append(s.Tables, m.cables(), m.metres())
	s.Tables = append(s.Tables, m.ports()...)
	s.Tables = append(s.Tables, m.addresses()...)
	s.Tables = append(s.Tables, m.spare(), m.models(), m.powerCut(), m.cautions())
	if built != nil {
		s.Tables = append(s.Tables, m.built(built))
	}
	s.Tables = slices.DeleteFunc(s.Tables, func(t Table) bool { return len(t.Rows) == 0 && len(t.Notes) == 0 })
	return s
}

// Only keeps one part.
func (s Sheet) Only(part string) Sheet {
	s.Tables = slices.DeleteFunc(slices.Clone(s.Tables), func(t Table) bool { return t.Part != part })
	return s
}

type maker struct {
	plan  *inventory.Plan
	paper diff.Sheet
}

// portLine is how a device is fed, on paper.
func (m *maker) portLine(name string) (diff.PortLine, bool) {
	for _, l := range m.paper.Ports {
		if l.Device == name {
			return l, true
		}
	}
	return diff.PortLine{}, false
}

// room is where a device stands: its own word, else that of what it hangs on.
func (m *maker) room(d *inventory.Device) string {
	if d.Room != "" {
		return d.Room
	}
	if d.Cable.Outdoor {
		return "outdoors"
	}
	return dash
}

// what a device is, in few words.
func what(d *inventory.Device) string {
	return cmp.Or(strings.TrimSpace(d.Maker+" "+d.Product), d.Model, strings.ReplaceAll(string(d.Role), "-", " "), "device")
}

func power(p inventory.Power) string {
	if p <= 0 {
		return dash
	}
	return p.String()
}

func metres(m float64) string {
	if m <= 0 {
		return dash
	}
	return fmt.Sprintf("%g m", m)
}
